"""What a manager makes of entries that could not simply be written down."""

from datetime import date, datetime, timedelta
from uuid import uuid4

import pytest
from django.test import Client

from equipment.models import FilterChange, FilterSlot, Reading, Site, User
from equipment.record import NotRecordable
from schedules import entry_judging, visits
from schedules.field_entries import Sent, take
from schedules.models import Defect, FieldEntry, Technician, Visit
from schedules.visits import Booking, FilterDone, Outcome
from tests.factories import FieldEntryFactory, FilterSlotFactory, MaintenanceTaskFactory, VisitJobFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)
SEEN = "Soot, scorching or a smell at a burner or flue, Rack or frame bent or loose"


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, technician_user: User, now: datetime) -> Visit:
    mine = Technician.objects.get(user=technician_user)
    return visits.book(Booking(home, [home_slot], [], mine, TODAY, sure=True), now)


def entry(visit: Visit, user: User, now: datetime, **more: object) -> FieldEntry:
    slot = visit.jobs.filter(slot__isnull=False).first().slot_id  # type: ignore[union-attr]
    fields = {f"slot{slot}-drop_before": ["40 Pa"], "units": ["ip"], "findings": ["rack loose"]}
    usual: dict[str, object] = {"fields": fields, "at": now - timedelta(hours=2), "state": "to_judge"}
    made: FieldEntry = FieldEntryFactory(uid=uuid4(), visit=visit, user=user, **{**usual, **more})
    return made


def test_an_open_visit_is_completed_by_whoever_wrote_at_that_hour(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    row = entry(visit, technician_user, now)
    entry_judging.count(row, manager_user, now, "ip")
    visit.refresh_from_db()
    row.refresh_from_db()
    assert (visit.state, visit.completed_at) == (Visit.State.COMPLETED, now - timedelta(hours=2))
    assert Reading.objects.get().taken_by == technician_user
    assert (row.judged, row.judged_by) == ("counted", manager_user)
    with pytest.raises(NotRecordable, match="meanwhile"):
        entry_judging.leave(row, manager_user, now)


def test_of_a_visit_that_is_over_readings_and_words_are_added(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    visits.complete(visit, Outcome(now - timedelta(hours=3), findings="dusty"), manager_user, now)
    entry_judging.count(entry(visit, technician_user, now, state="beside"), manager_user, now, "ip")
    visit.refresh_from_db()
    assert visit.findings == "dusty\nrack loose"
    assert visit.completed_at == now - timedelta(hours=3)
    assert Reading.objects.get().filter_drop_pa == pytest.approx(40.0)
    assert Defect.objects.filter(visit=visit).count() == 1


def test_of_two_changes_of_a_day_the_second_ones_clean_drop_alone_is_read(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    slot = visit.jobs.get().slot_id
    done = FilterDone(FilterSlot.objects.get(pk=slot), True)
    visits.complete(visit, Outcome(now - timedelta(hours=3), [done]), manager_user, now)
    row = entry(visit, technician_user, now, state="beside")
    row.fields |= {f"slot{slot}-changed": ["on"], f"slot{slot}-drop_after": ["22 Pa"]}
    row.save()
    assert "already" in entry_judging.count(row, manager_user, now, "ip")
    assert [reading.filter_drop_pa for reading in Reading.objects.all()] == [pytest.approx(22.0)]
    assert FilterChange.objects.count() == 1


def test_of_a_visit_that_another_ended_everything_that_is_new_is_written(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    """Airflow, tasks, the change, the old filter's drop and the note: none of them was told before."""
    slot = visit.jobs.get().slot
    assert slot is not None
    task = MaintenanceTaskFactory(system=slot.system)
    VisitJobFactory(visit=visit, slot=None, task=task)
    visits.complete(visit, Outcome(now - timedelta(hours=3)), manager_user, now)
    fields = {f"slot{slot.pk}-changed": ["on"], f"slot{slot.pk}-drop_before": ["40 Pa"]}
    fields |= {
        "note": ["dog"],
        f"air{slot.system_id}-airflow": ["900"],
        "task": [str(task.pk)],
        "units": ["ip"],
    }
    row = entry(visit, technician_user, now, state="beside", fields=fields)
    assert entry_judging.count(row, manager_user, now, "ip") == ""
    visit.refresh_from_db()
    task.refresh_from_db()
    assert visit.note == "dog"
    assert set(visit.jobs.values_list("done", flat=True)) == {True}
    assert (slot.changes.count(), slot.readings.count(), slot.system.air_records.count()) == (1, 1, 1)
    assert task.last_done_on == TODAY


def test_of_an_entry_that_was_taken_in_part_the_rest_alone_is_written(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    """One filter's change was told by the household; the rest was written down with the visit."""
    first = visit.jobs.get().slot
    assert first is not None
    other = FilterSlotFactory(system=first.system)
    VisitJobFactory(visit=visit, slot=other)
    FilterChange.objects.create(
        slot=first, changed_on=TODAY, changed_at=now - timedelta(hours=3), told=FilterChange.Told.OCCUPANT
    )
    fields: dict[str, list[str]] = {"units": ["ip"], "findings": ["rack loose"]}
    for slot in (first, other):
        fields |= {f"slot{slot.pk}-changed": ["on"], f"slot{slot.pk}-drop_after": ["21 Pa"]}
    sent = Sent(uuid4(), uuid4(), 1, visit.pk, "completed", now, timedelta(0), fields=fields)
    assert take(sent, technician_user, now, "ip").state == "beside"
    row = FieldEntry.objects.get()
    assert row.left_slots == [first.pk]
    assert "already" in entry_judging.count(row, manager_user, now, "ip")
    visit.refresh_from_db()
    assert (first.readings.count(), other.readings.count()) == (1, 1)
    assert (first.changes.count(), other.changes.count()) == (1, 1)
    assert visit.findings == "rack loose"
    assert Defect.objects.count() == 1


def test_what_cannot_be_is_left_out_and_said_and_the_rest_is_counted(
    visit: Visit, technician_user: User, manager: Client, now: datetime
) -> None:
    row = entry(visit, technician_user, now)
    name = next(iter(row.fields))
    row.fields = {**row.fields, name: ["900 inwc"], "note": ["dark up there"]}
    row.save()
    answer = manager.post(f"/findings/told/{row.pk}/judged/", {"count": "1"}, follow=True)
    assert "Left out, as it cannot be so: " in answer.text
    assert "900 inwc" in answer.text
    visit.refresh_from_db()
    row.refresh_from_db()
    assert (visit.state, visit.note, row.judged) == (Visit.State.COMPLETED, "dark up there", "counted")
    assert not Reading.objects.filter(slot__system__site=visit.site).exists()


def test_what_is_left_aside_can_still_be_read(
    visit: Visit, technician_user: User, manager: Client, now: datetime
) -> None:
    row = entry(visit, technician_user, now)
    row.fields[next(iter(row.fields))] = ["900 inwc"]
    row.save()
    assert "wants a look" in manager.get("/findings/").text
    manager.post(f"/findings/told/{row.pk}/judged/")
    assert "wants a look" not in manager.get("/findings/").text
    assert not Reading.objects.exists()
    assert "900 inwc" in manager.get(f"/visits/{visit.pk}/").text
    assert "900 inwc" in manager.get(f"/filters/{visit.jobs.get().slot_id}/").text


def test_what_was_taken_though_unusual_is_shown_until_somebody_looked(
    visit: Visit, technician_user: User, manager: Client, now: datetime
) -> None:
    row = entry(visit, technician_user, now)
    row.state, row.why = "taken", "Asked about, and taken as it is: much more than expected"
    row.save()
    assert "much more than expected" in manager.get("/findings/").text
    assert "much more than expected" in manager.get(f"/visits/{visit.pk}/").text
    manager.post(f"/findings/told/{row.pk}/judged/", {"count": "1"})
    row.refresh_from_db()
    assert row.judged == ""
    manager.post(f"/findings/told/{row.pk}/judged/")
    row.refresh_from_db()
    assert row.judged == "seen"
    assert "much more than expected" not in manager.get("/findings/").text


def test_of_a_visit_that_is_gone_nothing_can_be_counted(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    row = entry(visit, technician_user, now, visit_number=visit.pk)
    FieldEntry.objects.filter(pk=row.pk).update(visit=None)
    row.refresh_from_db()
    with pytest.raises(NotRecordable, match="not on record"):
        entry_judging.count(row, manager_user, now, "ip")
    assert entry_judging.waiting() == [row]


def test_an_entry_is_read_as_its_form_would_show_it(
    visit: Visit, technician_user: User, now: datetime
) -> None:
    row = entry(visit, technician_user, now)
    slot = visit.jobs.get().slot
    assert slot is not None
    slot.location = "hall"
    slot.save()
    row.fields |= {f"slot{slot.pk}-drop_after": ["0.11"], "seen": ["flue", "frame"]}
    ((_row, said),) = entry_judging.in_words([row], "ip")
    assert said == [
        ("hall: Drop of the old filter", "40 Pa"),
        ("hall: Drop of the clean filter", "0.11 in. w.c."),
        (
            "What is not right there",
            "Soot, scorching or a smell at a burner or flue, Rack or frame bent or loose",
        ),
        ("Findings", "rack loose"),
    ]


def test_what_was_judged_leaves_its_trace_in_the_visits_history(
    visit: Visit, technician_user: User, manager_user: User, now: datetime
) -> None:
    row = entry(visit, technician_user, now, kind="arrived", fields={})
    entry_judging.count(row, manager_user, now, "ip")
    visit.refresh_from_db()
    assert visit.arrived_at == row.at
    assert visit.history.first().arrived_at == row.at
