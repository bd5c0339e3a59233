"""The demo: its sheets, what the import makes of them, and the command that loads it."""

import csv
import filecmp
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction
from django.test import Client

from equipment.models import (
    Customer,
    Desk,
    FilterChange,
    FilterSlot,
    Media,
    Reading,
    RuntimeDay,
    Site,
    System,
    User,
)
from equipment.sheets.importer import import_sheets
from fixtures.invented import STATIONS
from fixtures.scenario import write_sheets
from schedules import figures, reminders
from schedules.models import MaintenanceTask, Notice, Plan, Technician, Visit
from servicedesk import demo, welcome
from servicedesk.archive.write import write_archive

DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo"
LAST_DAY = date(2026, 11, 24)
NOW = datetime(2026, 11, 25, 16, tzinfo=UTC)
OWN_SHEETS = {"desk.csv", "technicians.csv", "tasks.csv"}


def rows(name: str, directory: Path = DEMO) -> list[dict[str, str]]:
    with (directory / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def later(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sheets that end forty days after the committed ones."""
    directory = tmp_path_factory.mktemp("later")
    write_sheets(directory, LAST_DAY + timedelta(days=40))
    return directory


@pytest.fixture(scope="module")
def loaded(django_db_setup: None, django_db_blocker) -> Iterator[None]:  # type: ignore[no-untyped-def]
    """The demo loaded at NOW, once for the tests that only look."""
    with django_db_blocker.unblock():
        outer = transaction.atomic()
        outer.__enter__()
        demo.load(NOW)
        yield
        transaction.set_rollback(True)
        outer.__exit__(None, None, None)


@pytest.fixture
def seen(loaded: None, db: None) -> None:
    """A look at the loaded demo; what the test writes is taken back."""


# The sheets


def test_the_committed_sheets_are_what_the_scenario_writes(tmp_path: Path) -> None:
    write_sheets(tmp_path, LAST_DAY)
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == sorted(path.name for path in DEMO.iterdir())
    assert filecmp.cmpfiles(tmp_path, DEMO, names, shallow=False)[1:] == ([], [])


def test_the_committed_sheets_are_small() -> None:
    assert sum(path.stat().st_size for path in DEMO.iterdir()) < 2_500_000


@pytest.mark.parametrize(
    ("name", "key", "day"),
    [
        ("weather.csv", ("station", "date"), "date"),
        ("runtime.csv", ("system", "date"), "date"),
        ("readings.csv", ("filter_slot", "taken_at"), "taken_at"),
        ("changes.csv", ("filter_slot", "changed_on"), "changed_on"),
    ],
)
def test_a_later_day_tells_the_same_story_of_the_days_before(
    later: Path, name: str, key: tuple[str, ...], day: str
) -> None:
    newly_taken_on = {row["filter_slot"] for row in rows("installed.csv") if not row["fitted_on"]}
    first = str(LAST_DAY + timedelta(days=40 - 729))

    def shared(directory: Path) -> dict[tuple[str, ...], dict[str, str]]:
        return {
            tuple(row[column] for column in key): row
            for row in rows(name, directory)
            if first <= row[day] and row[day][:10] <= str(LAST_DAY)
            if row.get("filter_slot") not in newly_taken_on
        }

    assert len(shared(DEMO)) > 300
    assert shared(later) == shared(DEMO)


def test_no_fact_lies_after_the_last_day() -> None:
    days = [row["date"] for name in ("weather.csv", "runtime.csv") for row in rows(name)]
    days += [row["taken_at"][:10] for row in rows("readings.csv")]
    days += [row["changed_on"][:10] for row in rows("changes.csv")]
    days += [row["last_done_on"] for row in rows("tasks.csv")]
    assert max(days) == str(LAST_DAY)


def test_weather_has_winters_summers_and_two_whole_years_at_two_stations() -> None:
    by_month = defaultdict(list)
    for row in rows("weather.csv"):
        by_month[row["station"], row["date"][5:7]].append(float(row["mean_temp_f"]))
    for station in STATIONS:
        assert sum(len(days) for (name, _), days in by_month.items() if name == station) == 730
        january, july = (by_month[station, month] for month in ("01", "07"))
        assert 15 < sum(january) / len(january) < 35
        assert 70 < sum(july) / len(july) < 82


def test_lives_last_two_to_nine_months_as_a_rule() -> None:
    changes = defaultdict(list)
    for row in rows("changes.csv"):
        changes[row["filter_slot"]].append(date.fromisoformat(row["changed_on"][:10]))
    lives = [(b - a).days for days in changes.values() for a, b in pairwise(days)]
    typical = [days for days in lives if 60 <= days <= 275]
    assert len(lives) > 300
    assert len(typical) > 0.85 * len(lives)


# The oddities


def test_labels_carry_two_to_four_points_with_a_plausible_rise() -> None:
    points = Counter(row["media"] for row in rows("media_points.csv"))
    assert set(points) == {row["media"] for row in rows("media.csv")}
    assert set(points.values()) == {2, 3, 4}


def test_every_kind_of_oddity_of_a_home_is_there() -> None:
    installed = rows("installed.csv")
    slots = Counter(row["site"] for row in installed)
    systems = {site: {r["system"] for r in installed if r["site"] == site} for site in slots}
    sites = defaultdict(set)
    for row in installed:
        sites[row["customer"]].add(row["site"])
    assert any(slots[site] == 3 and len(systems[site]) == 1 for site in slots)
    assert any(len(of) == 2 for of in systems.values())
    assert 3 in {len(of) for of in sites.values()}
    assert {row["language"] for row in installed} == {"en", "es"}
    assert {row["changed_by"] for row in installed} == {"occupant", "technician"}
    for column in ("email", "latitude", "weather_station", "media", "fitted_on"):
        assert 1 <= sum(not row[column] for row in installed) <= 6, column
    assert any("attic" in row["location"] for row in installed)
    assert any(row["blower_table"] for row in installed)
    assert any(row["media"].startswith("Washable") for row in installed)


def test_one_system_has_no_log_and_one_a_hole_of_weeks() -> None:
    logged = Counter(row["system"] for row in rows("runtime.csv"))
    systems = {row["system"] for row in rows("installed.csv")}
    assert len(systems - set(logged)) == 1
    assert sorted(logged.values())[0] == 730 - 80
    assert sorted(logged.values())[1] == 730


def test_one_slot_reads_near_nought_and_one_well_below_its_clean_drop() -> None:
    slots = {row["filter_slot"]: row for row in rows("installed.csv")}
    drops = defaultdict(list)
    for row in rows("readings.csv"):
        drops[row["filter_slot"]].append(float(row["filter_drop_inwc"]))
    missing = [slot for slot, of in drops.items() if max(of) <= 0.01]
    assert len(missing) == 1
    points = defaultdict(list)
    for row in rows("media_points.csv"):
        points[row["media"]].append((float(row["airflow_cfm"]), float(row["clean_drop_inwc"])))
    # At some 300 fpm, the label's second point.
    bypassed = [
        slot
        for slot, of in drops.items()
        if slot not in missing and slots[slot]["media"] and min(of) < 0.6 * points[slots[slot]["media"]][1][1]
    ]
    assert len(bypassed) == 1


def test_nobody_in_the_demo_can_be_reached() -> None:
    installed = rows("installed.csv")
    assert all(row["email"].endswith("@example.org") for row in installed if row["email"])
    assert all(row["phone"].startswith("555-01") for row in installed)
    assert "postcode" not in installed[0]


# The import


@pytest.mark.once
@pytest.mark.django_db
def test_the_sheets_have_no_fault_and_a_second_import_changes_nothing() -> None:
    first = import_sheets(DEMO, NOW)
    assert first.faults == []
    assert first.stored
    assert first.changed == first.rows
    again = import_sheets(DEMO, NOW + timedelta(hours=1))
    assert again.faults == []
    assert not any(again.changed.values())
    assert (Site.objects.count(), System.objects.count(), FilterSlot.objects.count()) == (60, 80, 120)
    assert FilterSlot.objects.filter(facts_changed_at__gt=NOW).count() == 0


# The command; the tests of an empty desk come first, for `seen` holds the demo to the end of the file


@pytest.mark.django_db
def test_the_welcome_of_a_desk_without_the_demo_gives_its_address_alone() -> None:
    User.objects.create(username="somebody")
    assert len(welcome.lines()) == 1


@pytest.mark.long
@pytest.mark.django_db
def test_a_demo_that_breaks_in_the_middle_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(today: date, now: datetime) -> int:
        raise RuntimeError("killed")

    monkeypatch.setattr(demo, "_book_visits", breaks)
    with pytest.raises(RuntimeError):
        demo.load(NOW)
    assert not demo.in_use()
    assert not User.objects.exists()
    assert not Technician.objects.exists()


@pytest.mark.once
@pytest.mark.django_db
def test_sheets_with_a_fault_are_refused_with_the_fault_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    for path in DEMO.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "weather.csv").write_text(
        "station,date,mean_temp_f\nMarl Ferry airfield,2026-13-01,50\n", encoding="utf-8"
    )
    monkeypatch.setattr(demo, "sheets_for", lambda today: tmp_path)
    with pytest.raises(CommandError, match=r"weather\.csv line 2"):
        call_command("load_demo", stdout=StringIO())
    assert not demo.in_use()


def test_the_counts_of_the_demo(seen: None) -> None:
    assert (Site.objects.count(), System.objects.count(), FilterSlot.objects.count()) == (60, 80, 120)
    assert Customer.objects.count() == 58
    assert RuntimeDay.objects.count() == len(rows("runtime.csv"))
    assert Reading.objects.count() == len(rows("readings.csv"))
    assert FilterChange.objects.count() == len(rows("changes.csv"))
    assert Technician.objects.count() == 3
    assert MaintenanceTask.objects.values("system").distinct().count() == 20
    assert Desk.the().name == "Ferrygate Home Air"


def test_the_demo_can_be_archived(seen: None, tmp_path: Path) -> None:
    told = write_archive(tmp_path / "desk.zip", NOW)
    assert told["equipment.media"] == Media.objects.exclude(price=None).count() > 20
    assert sum(told.values()) > 10_000


@pytest.mark.once
def test_the_due_list_is_lively(seen: None) -> None:
    today = date(2026, 11, 25)
    due = [plan.due_on for plan in Plan.objects.all() if plan.due_on]
    overdue = sum(day < today for day in due)
    soon = sum(today <= day <= today + timedelta(days=21) for day in due)
    assert 10 <= overdue <= 22
    assert 14 <= soon <= 26
    assert {"risk", "medium", "calendar"} <= set(Plan.objects.values_list("reason", flat=True))


@pytest.mark.once
def test_a_nearly_limit_an_overdue_and_a_just_changed_filter_are_there(seen: None) -> None:
    plans = [plan for plan in Plan.objects.all() if plan.drop_now_pa and plan.limit_drop_pa]
    shares = [plan.drop_now_pa / plan.limit_drop_pa for plan in plans]
    assert any(0.9 < share < 1 for share in shares)
    assert any(share > 1.02 for share in shares)
    assert any(plan.life_began_on and plan.life_began_on >= LAST_DAY - timedelta(days=7) for plan in plans)


@pytest.mark.once
def test_one_house_stands_empty_and_its_event_is_on_record(seen: None) -> None:
    site = Site.objects.get(vacant_since__isnull=False)
    assert site.events.get().kind == "vacant"


@pytest.mark.once
def test_every_task_has_its_day_and_some_are_overdue(seen: None) -> None:
    days = list(MaintenanceTask.objects.values_list("due_on", flat=True))
    assert None not in days
    assert any(day < LAST_DAY for day in days)
    assert any(day > LAST_DAY for day in days)


@pytest.mark.once
def test_visits_are_booked_on_the_next_working_days_each_in_order(seen: None) -> None:
    booked = Visit.objects.filter(state="scheduled")
    assert set(booked.values_list("day", flat=True)) == {date(2026, 11, 25), date(2026, 11, 26)}
    for visit in booked:
        assert set(visit.skills) <= set(visit.technician.skills)
    days: dict[object, list[int | None]] = {}
    for visit in booked.order_by("stop_number"):
        days.setdefault((visit.technician_id, visit.day), []).append(visit.stop_number)
    assert all(stops == list(range(1, len(stops) + 1)) for stops in days.values())
    full = max(days, key=lambda key: len(days[key]))
    assert (len(days[full]), full) == (
        3,
        (User.objects.get(username=demo.TECHNICIAN).technician.pk, date(2026, 11, 25)),
    )


@pytest.mark.once
def test_whoever_changed_a_filter_last_year_was_there(seen: None) -> None:
    past = Visit.objects.filter(state="completed")
    assert past.count() > 60
    for visit in past.prefetch_related("jobs__slot__changes"):
        assert visit.arrived_at < visit.completed_at < NOW
        assert all(
            any(one.changed_on == visit.day for one in job.slot.changes.all()) for job in visit.jobs.all()
        )
    assert 3 <= Visit.objects.filter(state="no_access").count() < past.count() / 10
    told = figures.table(NOW)
    for key in ("on_time", "first_time", "driving", "no_access"):
        assert told.of(key, None).of > 50, key


@pytest.mark.once
def test_letters_are_there_to_be_read_whatever_the_hour(seen: None) -> None:
    letters = Notice.objects.filter(kind=Notice.Kind.FILTERS_DUE)
    assert letters.filter(state=Notice.State.SENT).count() > 3
    assert all("/answer/" in letter.text for letter in letters.filter(state=Notice.State.SENT))
    # Nobody is written to twice when the clock goes on.
    told = set(letters.values_list("site", flat=True))
    reminders.write_due(NOW)
    later = letters.exclude(state=Notice.State.SENT).values_list("site", flat=True)
    assert told.isdisjoint(later)


@pytest.mark.once
def test_accounts_open_with_a_link_and_not_with_a_password(seen: None) -> None:
    roles = {user.username: user for user in User.objects.all()}
    assert {user.role for user in roles.values()} == {"manager", "technician", "homeowner"}
    assert not any(user.has_usable_password() for user in roles.values())
    assert roles[demo.MANAGER].is_superuser
    assert [user.is_staff for user in roles.values()].count(True) == 1
    home = Site.objects.get(roles__person=roles[demo.HOMEOWNER].person, roles__role="filter_changer")
    assert FilterSlot.objects.filter(system__site=home).count() == 3
    assert roles[demo.HOMEOWNER].person.language == "en"
    assert FilterSlot.objects.filter(system__site=home, name="OL03-B1").exists()
    # The household sees what the dust of its house sets, not only what holds for every filter.
    assert Plan.objects.filter(slot__system__site=home, reason=Plan.Reason.RISK).count() >= 2


@pytest.mark.once
def test_the_welcome_prints_a_working_link_for_each_role(seen: None) -> None:
    links = [line.partition(": ")[2] for line in welcome.lines() if "sesame=" in line]
    assert len(links) == 3
    entered = set()
    for link in links:
        visitor = Client()
        address = "/" + link.split("/", 3)[3]
        answer = visitor.get(address)
        if answer.status_code == 200:
            visitor.post(address)
        entered.add(visitor.session.get("_auth_user_id"))
    assert entered == {str(user.pk) for user in User.objects.all()}


@pytest.mark.once
def test_once_keeps_a_desk_that_has_homes(seen: None) -> None:
    Site.objects.update(city="Elsewhere")
    visits = Visit.objects.count()
    out = StringIO()
    call_command("load_demo", "--once", stdout=out)
    assert out.getvalue().count("\n") == 1
    assert set(Site.objects.values_list("city", flat=True)) == {"Elsewhere"}
    assert Visit.objects.count() == visits


@pytest.mark.parametrize(
    ("today", "committed"),
    [(date(2026, 11, 25), True), (date(2026, 12, 8), True), (date(2026, 12, 9), False)],
    ids=["next day", "last day", "too late"],
)
def test_the_committed_sheets_serve_for_two_weeks(
    today: date, committed: bool, settings: Any, tmp_path: Path
) -> None:
    settings.VAR_DIR = tmp_path
    directory = demo.sheets_for(today)
    if committed:
        assert directory == DEMO
    else:
        assert max(row["date"] for row in rows("weather.csv", directory)) == "2026-12-08"
