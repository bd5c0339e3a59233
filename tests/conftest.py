"""Named people, their home, and a clock that stands still."""

import csv
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import Client
from hypothesis import settings as hypothesis_settings
from whitenoise.middleware import WhiteNoiseMiddleware

from equipment.models import FilterSlot, Person, Site, SiteRole, System, User
from equipment.sheets.faults import Report
from equipment.sheets.importer import import_sheets
from schedules import night
from tests.factories import (
    NOW,
    FilterSlotFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
    TechnicianFactory,
    UserFactory,
)
from tests.runner import MIGRATED_DATABASE, MIGRATED_FILE

# A busy machine is no fault of the code; where every run must be alike, so are the examples.
SHORT = "long" in os.environ.get("TEST_LEFT_OUT", "").split(",")
hypothesis_settings.register_profile(
    "house", deadline=None, derandomize="CI" in os.environ, max_examples=40 if SHORT else 100
)
hypothesis_settings.register_profile("thorough", deadline=None, max_examples=2000)
hypothesis_settings.load_profile("house")

Rows = Iterable[dict[str, object]]
WriteSheet = Callable[..., Path]
Importing = Callable[..., Report]


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None) -> None:
    """Each process begins with a copy of the tables that ./test made, where it did."""
    own = settings.DATABASES["default"]
    if not own["ENGINE"].endswith("sqlite3"):
        own["TEST"]["TEMPLATE"] = os.environ.get(MIGRATED_DATABASE)
    elif made := os.environ.get(MIGRATED_FILE):
        shutil.copy(made, own["TEST"]["NAME"])


@pytest.fixture(scope="session")
def django_db_keepdb(django_db_keepdb: bool) -> bool:
    """A file that was put into place is not to be made anew."""
    copied = settings.DATABASES["default"]["ENGINE"].endswith("sqlite3") and MIGRATED_FILE in os.environ
    return copied or django_db_keepdb


@pytest.fixture(autouse=True, scope="session")
def static_files_found_once() -> Iterator[None]:
    """Every client has middleware of its own, which would look through all folders of static files anew."""
    files: dict[str, object] = {}
    find = WhiteNoiseMiddleware.add_files_from_finders

    def find_once(middleware: WhiteNoiseMiddleware) -> None:
        if not files:
            find(middleware)
            files.update(middleware.files)
        middleware.files.update(files)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WhiteNoiseMiddleware, "add_files_from_finders", find_once)
        yield


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    """What one test tried too often is no other's fault, nor is its weather another's."""
    cache.clear()
    night._read.clear()


@pytest.fixture
def now() -> datetime:
    """Tuesday, 12 May 2026, 10 o'clock in Chicago."""
    return NOW


@pytest.fixture
def home(db: None) -> Site:
    """The homeowner's house."""
    return SiteFactory(name="home", street="12 Linden Street", city="Springfield")


@pytest.fixture
def home_system(home: Site) -> System:
    return SystemFactory(name="home-air", site=home)


@pytest.fixture
def home_slot(home_system: System) -> FilterSlot:
    return FilterSlotFactory(name="home-hall", system=home_system)


@pytest.fixture
def homeowner_person(home: Site, home_slot: FilterSlot) -> Person:
    """Lives at home and changes its filters."""
    person = PersonFactory(name="Robin Reed", email="robin@home.example")
    for role in (SiteRole.Role.OCCUPANT, SiteRole.Role.FILTER_CHANGER):
        SiteRoleFactory(site=home, person=person, role=role)
    return person


@pytest.fixture
def homeowner_user(homeowner_person: Person) -> User:
    return UserFactory(username="homeowner", role=User.Role.HOMEOWNER, person=homeowner_person)


@pytest.fixture
def manager_user(db: None) -> User:
    return UserFactory(username="manager", role=User.Role.MANAGER, is_staff=True, is_superuser=True)


@pytest.fixture
def technician_user(db: None) -> User:
    user = UserFactory(username="technician", role=User.Role.TECHNICIAN)
    TechnicianFactory(name="Terry Tool", user=user)
    return user


@pytest.fixture
def homeowner(homeowner_user: User) -> Client:
    return _signed_in(homeowner_user)


@pytest.fixture
def manager(manager_user: User) -> Client:
    return _signed_in(manager_user)


@pytest.fixture
def technician(technician_user: User) -> Client:
    return _signed_in(technician_user)


@pytest.fixture
def stranger(db: None) -> Client:
    """Nobody signed in."""
    return Client()


def _signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def sheet(tmp_path: Path) -> WriteSheet:
    """Writes a sheet into the test's directory: rows as dictionaries, or the whole text."""

    def write(name: str, rows: Rows | str | bytes) -> Path:
        path = tmp_path / name
        if isinstance(rows, bytes):
            path.write_bytes(rows)
        elif isinstance(rows, str):
            path.write_text(rows, encoding="utf-8")
        else:
            listed = list(rows)
            columns = list(dict.fromkeys(column for row in listed for column in row))
            with path.open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, columns, restval="")
                writer.writeheader()
                writer.writerows(listed)
        return path

    return write


@pytest.fixture
def importing(db: None, tmp_path: Path, sheet: WriteSheet) -> Importing:
    """Writes the sheets given by name (media="...", installed=[...]) and imports their directory."""

    def run(*, at: datetime = NOW, keep_good: bool = False, **sheets: Rows | str | bytes) -> Report:
        for path in tmp_path.glob("*.csv"):
            path.unlink()
        for name, rows in sheets.items():
            sheet(f"{name}.csv", rows)
        return import_sheets(tmp_path, at, keep_good=keep_good)

    return run


@pytest.fixture
def ratio(record_property: Callable[[str, object], None]) -> Callable[[str, float, float], float]:
    """Notes how many times a yardstick something took; the end of the run shows a table of them."""

    def note(what: str, seconds: float, yardstick_s: float) -> float:
        record_property("ratio", (what, seconds, yardstick_s))
        return seconds / yardstick_s

    return note


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The ratios that benchmarks noted, from whichever process they ran in."""
    reports = terminalreporter.stats.get("passed", [])
    found = [value for report in reports for name, value in report.user_properties if name == "ratio"]
    if found:
        terminalreporter.section("benchmarks")
    for what, seconds, yardstick_s in found:
        times = f"{seconds / yardstick_s:6.1f} times the yardstick ({seconds:.2f} s / {yardstick_s:.3f} s)"
        terminalreporter.write_line(f"{what:<60} {times}")
