"""Every feed and invitation, before and after a move and a call-off, as calendar programs understand it.

The clocks of Chicago go back on 1 November 2026 and forward on 14 March 2027, at two.
"""

import json
import os
import subprocess
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from equipment.models import Desk, FilterSlot, Person, Site
from schedules import invitations
from schedules.models import Plan, Technician, Visit
from schedules.visit_promises import promise_of
from tests import servers
from tests.calendars import body
from tests.factories import AbsenceFactory, PlanFactory, TechnicianFactory, VisitFactory
from tests.readers.python_readers import READERS, Seen

pytestmark = [pytest.mark.django_db, pytest.mark.once]
PHASES = ("before", "moved", "called off")
Files = dict[tuple[str, str], str]
Table = dict[tuple[str, str], set[Seen]]


class Season:
    """A day on which the clocks change; first and last in local time for the home, in UTC for the van."""

    def __init__(self, now: datetime, day: date, home: list[str], van: list[str], told: list[str]) -> None:
        self.now, self.day, self.home, self.van, self.told = now, day, home, van, told


def utc(said: str) -> datetime:
    return datetime.fromisoformat(said.replace("Z", "+00:00"))


# The home's hours on the day itself go over the change; moved they are those of the day after.
SEASONS = {
    "back": Season(
        datetime(2026, 10, 26, 15, tzinfo=UTC), date(2026, 11, 1), ["00:30", "03:30", "08:00", "10:00"],
        ["2026-11-01T06:45:00Z", "2026-11-01T08:15:00Z", "2026-11-02T14:00:00Z", "2026-11-02T14:30:00Z"],
        ["2026-11-01T05:30:00Z", "2026-11-01T09:30:00Z", "2026-11-02T14:00:00Z", "2026-11-02T16:00:00Z"],
    ),
    "back, in the hour shown twice": Season(
        datetime(2026, 10, 26, 15, tzinfo=UTC), date(2026, 11, 1), ["01:30", "03:00", "08:00", "10:00"],
        ["2026-11-01T07:30:00Z", "2026-11-01T07:59:00Z", "2026-11-02T14:00:00Z", "2026-11-02T14:30:00Z"],
        ["2026-11-01T06:30:00Z", "2026-11-01T09:00:00Z", "2026-11-02T14:00:00Z", "2026-11-02T16:00:00Z"],
    ),
    "forward": Season(
        datetime(2027, 3, 8, 15, tzinfo=UTC), date(2027, 3, 14), ["01:30", "04:00", "08:00", "10:00"],
        ["2027-03-14T07:45:00Z", "2027-03-14T08:15:00Z", "2027-03-15T13:00:00Z", "2027-03-15T13:30:00Z"],
        ["2027-03-14T07:30:00Z", "2027-03-14T09:00:00Z", "2027-03-15T13:00:00Z", "2027-03-15T15:00:00Z"],
    ),
}  # fmt: skip


class World:
    """A home, its filter and a visit that is booked, moved and called off."""

    def __init__(self, season: Season, slot: FilterSlot, person: Person) -> None:
        self.season, self.person, self.site = season, person, slot.system.site
        self.plan: Plan = PlanFactory(slot=slot, due_on=season.day)
        self.van: Technician = TechnicianFactory(name="Zoë; Ñ, Tool", weekdays=[*range(7)])
        self.visit: Visit = VisitFactory(
            site=self.site, technician=self.van, day=season.day, state=Visit.State.CONFIRMED
        )
        Desk.the()
        Desk.objects.update(email="desk@ferrygate.example")
        Site.objects.update(timezone="")
        self.site.refresh_from_db()

    def enter(self, phase: str) -> tuple[dict[str, str], dict[str, set[Seen]]]:
        """The files of the phase, and what they must say."""
        at = PHASES.index(phase)
        before = promise_of(self.visit) if at else None
        moved = min(at, 1) * 2
        if at < 2:
            self._book(moved, at)
        else:
            self._call_off()
        now = self.season.now + at * timedelta(hours=1)
        told = invitations.Told(self.visit, self.person, promise_of(self.visit), before)
        invitation = invitations.file_for(told, now)
        assert invitation.method == ("REQUEST", "REQUEST", "CANCEL")[at]
        owners = {"home": self.site, "technician": self.van, "desk": None}
        files = {name: body(owner, now).decode() for name, owner in owners.items()}
        files["invitation"] = invitation.body.decode()
        return files, self._expected(moved, off=at == 2)

    def _book(self, moved: int, at: int) -> None:
        season, visit = self.season, self.visit
        visit.day = season.day + timedelta(days=at)
        visit.window_from, visit.window_to = (
            time.fromisoformat(hour) for hour in season.home[moved : moved + 2]
        )
        visit.arrive_at, visit.leave_at = map(utc, season.van[moved : moved + 2])
        visit.save()
        Plan.objects.update(due_on=season.day + timedelta(days=at * 10))

    def _call_off(self) -> None:
        self.visit.state = Visit.State.CANCELLED
        self.visit.save()
        FilterSlot.objects.update(retired_on=self.season.now.date())
        day = self.season.day + timedelta(days=1)
        AbsenceFactory(first_day=day, last_day=day)

    def _expected(self, moved: int, off: bool) -> dict[str, set[Seen]]:
        season, pk = self.season, self.visit.pk
        due = season.day + timedelta(days=moved * 5)
        visit = (f"visit-{pk}", *season.told[moved : moved + 2], off)
        today = season.now.date()
        days = [today + timedelta(days=ahead) for ahead in range(42)]
        without_work = season.day + timedelta(days=1) if off else None
        return {
            "home": {visit, (f"filter-{self.plan.slot_id}", *whole(due), off)},
            "technician": {(f"stop-{pk}-{self.van.pk}", *season.van[moved : moved + 2], off)},
            "desk": {(f"load-{day}", *whole(day), day == without_work) for day in days},
            "invitation": {visit},
        }


def whole(day: date) -> tuple[str, str]:
    return day.isoformat(), (day + timedelta(days=1)).isoformat()


@pytest.fixture(params=SEASONS)
def written(
    request: pytest.FixtureRequest, home_slot: FilterSlot, homeowner_person: Person
) -> tuple[Files, Table]:
    """Every file of every phase with the table of what must be read from it."""
    world, files, table = World(SEASONS[request.param], home_slot, homeowner_person), {}, {}
    for phase in PHASES:
        texts, expected = world.enter(phase)
        files |= {(phase, name): text for name, text in texts.items()}
        table |= {(phase, name): rows for name, rows in expected.items()}
    return files, table


@pytest.mark.parametrize("reader", READERS)
def test_a_library_of_other_people_reads_what_was_meant(
    written: tuple[Files, Table], reader: str, tmp_path: Path
) -> None:
    files, table = written
    for number, (key, text) in enumerate(files.items()):
        assert set(READERS[reader](text, tmp_path / str(number))) == table[key], key


@pytest.fixture
def node_modules() -> str:
    """Where the JavaScript libraries lie; `./test` leaves the tests marked node out where there are none."""
    return os.environ.get("TEST_NODE_MODULES") or servers.node_modules()


@pytest.mark.node
def test_libraries_in_another_language_read_what_was_meant(
    written: tuple[Files, Table], node_modules: str, tmp_path: Path
) -> None:
    files, table = written
    paths = []
    for number, text in enumerate(files.values()):
        paths.append(tmp_path / f"{number}.ics")
        paths[-1].write_bytes(text.encode())
    script = Path(__file__).with_name("read.mjs")
    # In a zone that is neither the desk's nor UTC: the reader's own clock must not matter.
    done = subprocess.run(
        ["node", script, node_modules, *paths],
        env=os.environ | {"TZ": "Asia/Tokyo"}, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    for reader, found in json.loads(done.stdout).items():
        for key, rows in zip(files, found, strict=True):
            read = {(uid.split("@")[0], *rest) for uid, *rest in rows}
            assert read == table[key], (reader, key)
