"""Entries from phones: once each, at the hour they were written, and nothing lost."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest

from equipment.models import FilterChange, FilterSlot, Reading, Site, User
from schedules import due, entry_judging, field_entries, finish, visits
from schedules.field_entries import Sent, take, what_it_says
from schedules.models import FieldEntry, Technician, Visit
from schedules.phone_clock import Hour, Pressed, hour_of
from schedules.visits import Booking
from tests.factories import MediaFactory, TechnicianFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db
DEVICE = UUID("6b1c2f2e-8f5f-4b53-9a69-0f4f7d3c2f11")
TODAY = date(2026, 5, 12)


@pytest.fixture
def slot(home_slot: FilterSlot) -> FilterSlot:
    home_slot.changed_by = FilterSlot.ChangedBy.TECHNICIAN
    home_slot.first_media = MediaFactory(name="pleat")
    home_slot.fitted_on = date(2025, 11, 20)
    home_slot.save()
    home_slot.system.design_airflow_m3s = 0.3
    home_slot.system.save()
    return home_slot


@pytest.fixture
def visit(home: Site, slot: FilterSlot, technician_user: User, now: datetime) -> Visit:
    """Today's, of the technician."""
    mine = Technician.objects.get(user=technician_user)
    return visits.book(Booking(home, [slot], [], mine, TODAY, sure=True), now - timedelta(days=1))


def written(visit: Visit, now: datetime, slot: FilterSlot | None = None, **more: Any) -> Sent:
    """An entry written an hour ago by a phone whose clock is right."""
    fields = {f"slot{slot.pk}-changed": ["on"], f"slot{slot.pk}-drop_before": ["30 Pa"]} if slot else {}
    usual: dict[str, Any] = {
        "uid": uuid4(),
        "device": DEVICE,
        "number": 1,
        "visit": visit.pk or 0,
        "kind": FieldEntry.Kind.COMPLETED,
        "pressed_at": now - timedelta(hours=1),
        "clock_behind": timedelta(0),
        "fields": {"units": ["ip"], "note": ["in the attic"], **fields},
    }
    return Sent(**{**usual, **more})


def test_a_visit_written_without_signal_ends_at_the_hour_it_was_written(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"
    visit.refresh_from_db()
    assert (visit.state, visit.completed_at) == (Visit.State.COMPLETED, now - timedelta(hours=1))
    assert visit.note == "in the attic"
    reading = Reading.objects.get(slot=slot)
    assert reading.filter_drop_pa == pytest.approx(30.0)
    assert reading.taken_at == now - timedelta(hours=1, seconds=1)
    assert due.today(now) < slot.plan.__class__.objects.get(slot=slot).due_on


def test_the_same_entry_five_times_is_one(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    sent = written(visit, now, slot)
    answers = {take(sent, technician_user, now, "ip").state for _ in range(5)}
    assert answers == {"taken"}
    assert FieldEntry.objects.count() == Reading.objects.count() == FilterChange.objects.count() == 1


def test_what_was_corrected_after_it_had_come_stands_beside_and_counts_nothing(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    sent = written(visit, now, slot)
    take(sent, technician_user, now, "ip")
    corrected = replace(sent, fields={**sent.fields, f"slot{slot.pk}-drop_before": ["40 Pa"]})
    answers = [take(corrected, technician_user, now, "ip") for _ in range(3)]
    assert {answer.state for answer in answers} == {"beside"}
    assert "corrected" in answers[0].said
    assert take(sent, technician_user, now, "ip").state == "taken"
    assert [row.state for row in FieldEntry.objects.order_by("pk")] == ["taken", "beside"]
    assert [row.filter_drop_pa for row in Reading.objects.all()] == [pytest.approx(30.0)]


def test_two_people_of_one_slot_are_both_kept_and_the_second_counts_nothing_twice(
    visit: Visit, slot: FilterSlot, technician_user: User, manager_user: User, now: datetime
) -> None:
    take(written(visit, now, slot), manager_user, now, "ip")
    late = take(written(visit, now, slot, number=2), technician_user, now, "ip")
    assert late.state == "beside"
    assert "completed" in late.said
    assert str(manager_user) in late.said
    assert Reading.objects.count() == 1
    assert [row.user for row in FieldEntry.objects.order_by("pk")] == [manager_user, technician_user]
    row = FieldEntry.objects.get(state="beside")
    assert FieldEntry.objects.waiting().get() == row
    assert ("Note", "in the attic") in what_it_says(row, "ip")


def test_a_change_that_the_household_told_of_that_day_is_not_counted_again(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    FilterChange.objects.create(
        slot=slot, changed_on=TODAY, changed_at=now - timedelta(hours=3), told=FilterChange.Told.OCCUPANT
    )
    told = take(written(visit, now, slot), technician_user, now, "ip")
    assert told.state == "beside"
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED
    assert slot.changes.count() == 1
    assert not slot.readings.exists()


def test_a_clock_a_day_off_is_set_right(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    ahead = written(visit, now, slot, pressed_at=now + timedelta(hours=23), clock_behind=timedelta(days=-1))
    assert take(ahead, technician_user, now, "ip").state == "taken"
    visit.refresh_from_db()
    assert visit.completed_at == now - timedelta(hours=1)
    row = FieldEntry.objects.get()
    assert (row.pressed_at, row.at) == (now + timedelta(hours=23), now - timedelta(hours=1))


@pytest.mark.parametrize(
    ("pressed", "behind", "then", "at"),
    [
        (-60, 0, None, -60),
        (-60, 0.5, 0.5, -60),  # within the slack of any clock
        (1380, -1440, -1440, -60),
        (-60, 0, 1440, -60),  # what would be to come is not believed
        (1380, 0, -1440, -60),  # set right between writing and sending
        (600, 0, None, 0),
    ],
)
def test_the_hour_of_an_entry(
    visit: Visit, now: datetime, pressed: float, behind: float, then: float | None, at: float
) -> None:
    sent = written(
        visit,
        now,
        pressed_at=now + timedelta(minutes=pressed),
        clock_behind=timedelta(minutes=behind),
        clock_behind_then=None if then is None else timedelta(minutes=then),
    )
    assert hour_of(sent.pressed, now, TODAY, ZoneInfo("America/Chicago")).at == now + timedelta(minutes=at)


@pytest.mark.parametrize(
    ("pressed", "behind", "then", "at", "other", "sure"),
    [
        (-1500, 1440, 0, -60, -1500, True),  # a day back since the desk was last heard: by its day today's
        (-60, 0, -1440, -60, -1500, True),
        (-3000, 1440, 0, -3000, -1560, False),  # neither hour is of its day
        (-60 - 800 * 1440, 800 * 1440, 0, -60, None, True),  # nobody believes a clock of years ago
        (-800 * 1440, 0, 0, -800 * 1440, 0, False),
    ],
)
def test_a_clock_that_jumped_by_days_is_read_by_the_day_of_the_visit(
    now: datetime, pressed: float, behind: float, then: float, at: float, other: float | None, sure: bool
) -> None:
    at_phone, *clocks = (timedelta(minutes=some) for some in (pressed, behind, then))
    found = hour_of(Pressed(now + at_phone, *clocks), now, TODAY, ZoneInfo("America/Chicago"))
    second = None if other is None else now + timedelta(minutes=other)
    assert found == Hour(now + timedelta(minutes=at), second, sure=sure)


def test_an_entry_that_may_be_of_two_days_is_counted_as_of_the_one_that_is_meant(
    visit: Visit, slot: FilterSlot, technician_user: User, manager_user: User, now: datetime
) -> None:
    long_ago = written(visit, now, slot, pressed_at=now - timedelta(days=800))
    assert take(long_ago, technician_user, now, "ip").state == "to_judge"
    row = FieldEntry.objects.get()
    assert (row.at, row.other_at) == (now - timedelta(days=800), now)
    entry_judging.count(row, manager_user, now, "ip", other_day=True)
    visit.refresh_from_db()
    assert (visit.day, visit.completed_at) == (TODAY, now)


def test_one_of_two_days_by_the_visits_own_is_taken_and_shown(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    back = {"pressed_at": now - timedelta(minutes=1500), "clock_behind": timedelta(days=1)}
    sent = written(visit, now, slot, clock_behind_then=timedelta(0), **back)
    answer = take(sent, technician_user, now, "ip")
    assert (answer.state, "by the visit's day it is of" in answer.said) == ("taken", True)
    assert [row.counts for row in entry_judging.waiting()] == [True]


def test_an_entry_in_doubt_casts_none_on_those_after_it(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    fields = {"units": ["ip"], "filter_drop": ["30 Pa"]}
    ahead = Sent(
        uuid4(), DEVICE, 1, None, "reading", now - timedelta(hours=26), timedelta(0), timedelta(days=1),
        slot=slot.pk, fields=fields,
    )  # fmt: skip
    sound = Sent(
        uuid4(), DEVICE, 2, None, "reading", now - timedelta(hours=3), timedelta(0), timedelta(0),
        slot=slot.pk, fields=fields,
    )  # fmt: skip
    assert [take(one, technician_user, now, "ip").state for one in (ahead, sound)] == ["to_judge", "taken"]


def test_what_was_ticked_is_told_in_words(
    visit: Visit, slot: FilterSlot, technician_user: User, manager_user: User, now: datetime
) -> None:
    take(written(visit, now, slot), manager_user, now, "ip")
    ticked = {f"slot{slot.pk}-changed": ["on"], f"slot{slot.pk}-sure": ["on"]}
    take(written(visit, now, number=2, fields=ticked), technician_user, now, "ip")
    told = what_it_says(FieldEntry.objects.get(user=technician_user), "ip")
    assert [text for label, text in told if label.endswith("Changed")] == ["yes"]


def test_a_reading_of_a_clock_that_was_set_by_a_day_is_for_the_desk(
    slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    reading = Sent(
        uuid4(), DEVICE, 1, None, "reading", now - timedelta(hours=1), timedelta(days=-1), timedelta(0),
        slot=slot.pk, fields={"units": ["ip"], "filter_drop": ["30 Pa"]},
    )  # fmt: skip
    answer = take(reading, technician_user, now, "ip")
    assert answer.state == "to_judge"
    assert [day for day in ("11 May", "12 May") if day in answer.said] == ["11 May", "12 May"]
    assert not slot.readings.exists()


def test_a_change_planned_ahead_by_a_sheet_stands_against_nothing(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    FilterChange.objects.create(
        slot=slot, changed_on=TODAY + timedelta(days=20), changed_at=now + timedelta(days=20), told="sheet"
    )
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"
    assert slot.changes.filter(changed_on=TODAY).count() == slot.readings.count() == 1


def test_a_filter_retired_meanwhile_is_for_the_desk_and_the_rest_is_written(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    slot.retired_on = TODAY
    slot.save()
    answer = take(written(visit, now, slot), technician_user, now, "ip")
    assert (answer.state, "not on record" in answer.said) == ("to_judge", True)
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED
    assert not slot.readings.exists()
    assert not slot.changes.filter(changed_on=TODAY).exists()
    assert any(text == "30 Pa" for _, text in what_it_says(FieldEntry.objects.get(), "ip"))


def test_a_visit_done_early_leaves_the_other_day_in_order(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    Visit.objects.filter(pk=visit.pk).update(day=TODAY + timedelta(days=1))
    ordered: list[date] = []
    monkeypatch.setattr(finish, "order_day", lambda who, day, now: ordered.append(day))
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"
    assert ordered == [TODAY + timedelta(days=1)]


def test_a_clock_that_nobody_should_believe_is_for_the_desk(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    old = written(visit, now, slot, pressed_at=now - timedelta(days=400))
    assert take(old, technician_user, now, "ip").state == "to_judge"
    visit.refresh_from_db()
    assert visit.is_open


def test_a_visit_that_is_gone_or_never_was_theirs_is_for_the_desk(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    nowhere = take(replace(written(visit, now, slot), visit=visit.pk + 999), technician_user, now, "ip")
    stranger = UserFactory(username="other", role=User.Role.TECHNICIAN)
    TechnicianFactory(name="Other", user=stranger)
    others = take(written(visit, now, slot), stranger, now, "ip")
    assert (nowhere.state, others.state) == ("to_judge", "to_judge")
    assert FieldEntry.objects.filter(fields__note=["in the attic"]).count() == 2
    visit.refresh_from_db()
    assert visit.is_open


def test_a_visit_given_to_another_meanwhile_is_still_theirs_who_did_it(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    visit.technician = TechnicianFactory(name="Other")
    visit.save()
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"


def test_a_visit_called_off_meanwhile_was_done_all_the_same(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    visits.cancel(visit, "rang off")
    told = take(written(visit, now, slot), technician_user, now, "ip")
    assert told.state == "taken"
    assert "called off" in told.said
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED


def test_a_slot_deleted_meanwhile_keeps_the_rest_and_its_words(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    sent = written(visit, now, slot)
    sent.fields["slot987654-drop_before"] = ["44 Pa"]
    told = take(sent, technician_user, now, "ip")
    assert told.state == "to_judge"
    assert "not on record" in told.said
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED
    assert FieldEntry.objects.get().fields["slot987654-drop_before"] == ["44 Pa"]


def test_a_job_taken_out_of_the_visit_meanwhile_is_written_down_with_it(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    visit.jobs.all().delete()
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"
    assert slot.readings.count() == 1


def test_what_cannot_be_is_asked_of_whoever_stands_there_and_kept_of_whoever_left(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    wrong = {f"slot{slot.pk}-drop_before": ["900 inwc"], "units": ["ip"]}
    here = take(written(visit, now, fields=wrong, here=True), technician_user, now, "ip")
    assert here.state == "ask"
    assert list(here.faults) == [f"slot{slot.pk}-drop_before"]
    assert not FieldEntry.objects.exists()
    left = take(written(visit, now, fields=wrong), technician_user, now, "ip")
    assert left.state == "to_judge"
    assert FieldEntry.objects.get().fields == wrong
    visit.refresh_from_db()
    assert visit.is_open


def test_what_would_only_be_asked_about_is_taken_and_noted(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    swapped = {
        f"slot{slot.pk}-changed": ["on"],
        f"slot{slot.pk}-drop_before": ["30 Pa"],
        f"slot{slot.pk}-drop_after": ["80 Pa"],
    }
    assert take(written(visit, now, fields=swapped, here=True), technician_user, now, "ip").state == "ask"
    told = take(written(visit, now, fields=swapped), technician_user, now, "ip")
    assert told.state == "taken"
    assert "swapped" in told.said
    assert slot.readings.count() == 2


def test_units_are_those_that_the_form_showed(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    fields = {f"slot{slot.pk}-drop_before": ["30"], "units": ["si"]}
    assert take(written(visit, now, fields=fields), technician_user, now, "ip").state == "taken"
    assert slot.readings.get().filter_drop_pa == pytest.approx(30.0)


def test_an_entry_that_trips_the_desk_is_kept_and_holds_up_nobody(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def trip(*_args: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(field_entries, "_read", trip)
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "to_judge"
    monkeypatch.undo()
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"


def test_at_the_door_and_nobody_opened_come_in_the_order_written(
    visit: Visit, technician_user: User, now: datetime
) -> None:
    at = now - timedelta(minutes=50)
    door = written(visit, now, kind="arrived", pressed_at=at, fields={})
    shut = written(visit, now, kind="no_access", pressed_at=at + timedelta(minutes=9), number=2)
    assert [take(one, technician_user, now, "ip").state for one in (door, shut)] == ["taken", "taken"]
    visit.refresh_from_db()
    assert (visit.state, visit.arrived_at) == (Visit.State.NO_ACCESS, at)
    assert visit.completed_at == at + timedelta(minutes=9)
    again = written(VisitFactory(), now, kind="arrived", fields={})
    assert take(again, technician_user, now, "ip").state == "to_judge"


def test_nobody_opened_and_then_they_came_home(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    shut = written(visit, now, kind="no_access", pressed_at=now - timedelta(minutes=90), fields={})
    assert take(shut, technician_user, now, "ip").state == "taken"
    told = take(written(visit, now, slot, number=2), technician_user, now, "ip")
    assert (told.state, told.said) == ("taken", "Nobody had opened before.")
    visit.refresh_from_db()
    assert (visit.state, visit.completed_at) == (Visit.State.COMPLETED, now - timedelta(hours=1))
    assert (slot.changes.count(), slot.readings.count()) == (1, 1)


def test_what_cannot_wait_is_open_whatever_becomes_of_the_entry(
    visit: Visit, slot: FilterSlot, technician_user: User, manager_user: User, now: datetime
) -> None:
    visits.complete(visit, visits.Outcome(now - timedelta(hours=2)), manager_user, now)
    told = written(visit, now, fields={"seen": ["flue", "blocked"], "units": ["ip"]})
    assert take(told, technician_user, now, "ip").state == "beside"
    assert [row.kind for row in visit.defects.all()] == ["flue"]


def test_the_door_of_a_visit_that_is_somebody_elses_now_is_not_theirs(
    visit: Visit, technician_user: User, now: datetime
) -> None:
    visit.technician = TechnicianFactory(name="Other")
    visit.save()
    door = written(visit, now, kind="arrived", fields={})
    assert take(door, technician_user, now, "ip").said == "The visit is somebody else's by now."
    visit.refresh_from_db()
    assert (visit.arrived_at, visit.state) == (None, Visit.State.SCHEDULED)


def test_a_visit_that_lost_its_day_and_was_done_all_the_same_is_theirs_who_did_it(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    visits.displace(visit, "no heat elsewhere")
    assert take(written(visit, now, slot), technician_user, now, "ip").state == "taken"
    visit.refresh_from_db()
    assert (visit.day, visit.technician) == (TODAY, Technician.objects.get(user=technician_user))


def test_a_clock_that_went_back_between_two_entries_is_for_the_desk(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    take(written(visit, now, kind="arrived", fields={}), technician_user, now, "ip")
    back = written(visit, now, slot, number=2, pressed_at=now - timedelta(days=1))
    assert take(back, technician_user, now, "ip").state == "to_judge"
    visit.refresh_from_db()
    assert visit.is_open
