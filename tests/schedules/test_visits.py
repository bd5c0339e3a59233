"""From what is due to a completed visit and the next date."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from equipment.models import FilterChange, FilterSlot, Media, Reading, Site, User
from equipment.record import NotRecordable
from schedules import due, visits
from schedules.bookable import NotBookable
from schedules.models import MaintenanceTask, Plan, TaskDone, Technician, Visit
from schedules.visits import Booking, FilterDone, Outcome
from tests.factories import (
    AbsenceFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MediaFactory,
    MediaPointFactory,
    PlanFactory,
    SystemFactory,
    TechnicianFactory,
)

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


@pytest.fixture
def slot(home_slot: FilterSlot) -> FilterSlot:
    """The home's filter, changed by the technician, half a year old."""
    home_slot.changed_by = FilterSlot.ChangedBy.TECHNICIAN
    home_slot.first_media = MediaFactory(name="pleat")
    home_slot.fitted_on = date(2025, 11, 20)
    home_slot.save()
    home_slot.system.design_airflow_m3s = 0.3
    home_slot.system.save()
    return home_slot


@pytest.fixture
def task(slot: FilterSlot) -> MaintenanceTask:
    return MaintenanceTaskFactory(
        system=slot.system, due_on=TODAY + timedelta(days=20), skill="gas", minutes=50
    )


@pytest.fixture
def gas_fitter() -> Technician:
    return TechnicianFactory(name="Gwen", skills=["gas"])


def test_filters_and_tasks_of_a_home_are_offered_as_one_trip(
    slot: FilterSlot, task: MaintenanceTask, now: datetime
) -> None:
    due.replan(now)
    (offer,) = visits.offers(TODAY)
    assert (offer.slots, offer.tasks) == ([slot], [task])
    assert offer.minutes == 10 + 12 + 50
    assert offer.skills == ["gas"]
    assert offer.due_on == date(2025, 11, 20) + timedelta(days=183)


def test_what_is_due_long_after_the_first_waits_for_its_own_trip(
    slot: FilterSlot, task: MaintenanceTask, now: datetime
) -> None:
    due.replan(now)
    MaintenanceTask.objects.update(due_on=TODAY + timedelta(days=70))
    (offer,) = visits.offers(TODAY)
    assert offer.tasks == []


def test_what_the_household_changes_itself_is_not_offered(slot: FilterSlot, now: datetime) -> None:
    FilterSlot.objects.update(changed_by=FilterSlot.ChangedBy.OCCUPANT)
    due.replan(now)
    assert visits.offers(TODAY) == []


def test_a_vacant_house_and_a_replaced_system_are_not_offered(
    slot: FilterSlot, task: MaintenanceTask, now: datetime
) -> None:
    due.replan(now)
    slot.system.replaced_on = TODAY
    slot.system.save()
    assert visits.offers(TODAY) == []


def test_a_booked_job_is_not_offered_nor_booked_again(
    slot: FilterSlot, task: MaintenanceTask, gas_fitter: Technician, now: datetime
) -> None:
    due.replan(now)
    booking = Booking(slot.system.site, [slot], [task], gas_fitter, TODAY + timedelta(days=1))
    visit = visits.book(booking, now)
    assert visit.state == Visit.State.SCHEDULED
    assert visits.offers(TODAY) == []
    with pytest.raises(NotBookable, match="already part of an open visit"):
        visits.book(booking, now)


def test_no_technician_with_the_skill_is_said_with_who_has_it(
    slot: FilterSlot, task: MaintenanceTask, gas_fitter: Technician, now: datetime
) -> None:
    other = TechnicianFactory(name="Otto")
    with pytest.raises(NotBookable, match=r"Otto does not have the skill gas; Gwen has"):
        visits.book(Booking(slot.system.site, [slot], [task], other, TODAY), now)
    gas_fitter.gone_on = TODAY
    gas_fitter.save()
    with pytest.raises(NotBookable, match="nobody at this desk has"):
        visits.book(Booking(slot.system.site, [slot], [task], other, TODAY), now)
    assert Visit.objects.count() == 0


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"day": date(2026, 5, 11)}, "day is past"),
        ({"day": None}, "go together"),
        ({"window_from": time(12), "window_to": time(9)}, "end before they begin"),
        ({"slots": [], "tasks": []}, "at least one"),
        ({"window_from": time(2), "window_to": time(3)}, "works from 08:00 to 17:00"),
        ({"window_from": time(17)}, "lie outside"),
    ],
)
def test_a_booking_that_cannot_be_is_refused(
    change: dict[str, object], why: str, slot: FilterSlot, gas_fitter: Technician, now: datetime
) -> None:
    wanted: dict[str, object] = {
        "slots": [slot],
        "tasks": [],
        "technician": gas_fitter,
        "day": TODAY,
    } | change
    with pytest.raises(NotBookable, match=why):
        visits.book(Booking(slot.system.site, **wanted), now)  # type: ignore[arg-type]


@pytest.fixture
def visit(slot: FilterSlot, task: MaintenanceTask, gas_fitter: Technician, now: datetime) -> Visit:
    due.replan(now)
    return visits.book(Booking(slot.system.site, [slot], [task], gas_fitter, TODAY), now)


def test_completing_writes_readings_change_and_task_and_moves_the_date(
    visit: Visit, slot: FilterSlot, task: MaintenanceTask, technician_user: User, now: datetime
) -> None:
    done = FilterDone(slot, True, None, drop_before_pa=60.0, drop_after_pa=25.0, airflow_m3s=0.29)
    visits.complete(visit, Outcome(now, [done], [task], "filter was bowed", "dog"), technician_user, now)
    visit.refresh_from_db()
    assert (visit.state, visit.findings) == (Visit.State.COMPLETED, "filter was bowed")
    change = FilterChange.objects.get()
    assert (change.told, change.changed_at) == (FilterChange.Told.TECHNICIAN, now)
    before, after = Reading.objects.order_by("taken_at")
    assert before.taken_at < change.changed_at < after.taken_at
    assert (before.filter_drop_pa, after.filter_drop_pa) == (60.0, 25.0)
    assert TaskDone.objects.get().visit == visit
    task.refresh_from_db()
    assert task.due_on == TODAY + timedelta(days=365)
    plan = Plan.objects.get(slot=slot)
    assert plan.life_began_on == TODAY
    assert plan.due_on is not None
    assert plan.due_on > TODAY


def test_a_reading_that_cannot_be_leaves_everything_as_it_was(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    done = FilterDone(slot, True, None, drop_before_pa=60.0, drop_after_pa=9000.0)
    with pytest.raises(NotRecordable, match="more than any blower"):
        visits.complete(visit, Outcome(now, [done]), technician_user, now)
    visit.refresh_from_db()
    assert visit.state == Visit.State.SCHEDULED
    assert Reading.objects.count() == FilterChange.objects.count() == 0


def test_a_visit_is_completed_once(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    visits.complete(visit, Outcome(now, [FilterDone(slot, True)]), technician_user, now)
    with pytest.raises(NotRecordable, match="already over"):
        visits.complete(visit, Outcome(now, [FilterDone(slot, True)]), technician_user, now)
    assert FilterChange.objects.count() == 1


def test_what_was_not_done_is_offered_again(
    visit: Visit, slot: FilterSlot, task: MaintenanceTask, technician_user: User, now: datetime
) -> None:
    visits.complete(visit, Outcome(now, [FilterDone(slot, True)]), technician_user, now)
    (offer,) = visits.offers(TODAY)
    assert (offer.slots, offer.tasks) == ([], [task])


def test_no_access_frees_the_jobs(visit: Visit, slot: FilterSlot, now: datetime) -> None:
    visits.no_access(visit, "gate locked", now)
    assert visits.offers(TODAY)[0].slots == [slot]
    with pytest.raises(NotRecordable, match="already over"):
        visits.no_access(visit, "", now)


def test_a_cancelled_visit_frees_the_jobs_and_is_not_booked_anew(
    visit: Visit, slot: FilterSlot, gas_fitter: Technician, now: datetime
) -> None:
    visits.cancel(visit, "")
    assert visits.offers(TODAY)[0].slots == [slot]
    with pytest.raises(NotBookable, match="over"):
        visits.schedule(visit, gas_fitter, TODAY, now)


def test_a_visit_keeps_its_history(visit: Visit, now: datetime) -> None:
    visits.no_access(visit, "", now)
    assert [row.state for row in visit.history.order_by("history_id")] == ["scheduled", "no_access"]


def test_two_systems_of_a_home_share_the_trip(slot: FilterSlot, home: Site, now: datetime) -> None:
    due.replan(datetime(2026, 5, 12, 15, tzinfo=UTC), FilterSlot.objects.filter(pk=slot.pk))
    PlanFactory(
        slot=FilterSlotFactory(system=SystemFactory(site=home), changed_by="technician"),
        due_on=TODAY + timedelta(days=9),
    )
    (offer,) = visits.offers(TODAY)
    assert len(offer.slots) == 2


@pytest.mark.parametrize("of_all", [True, False])
def test_nobody_is_booked_on_leave_or_a_day_off_for_all(
    home_slot: FilterSlot, now: datetime, of_all: bool
) -> None:
    technician = TechnicianFactory()
    day = TODAY + timedelta(days=3)
    leave = AbsenceFactory(technician=None if of_all else technician, first_day=TODAY, last_day=day)
    booking = Booking(home_slot.system.site, [home_slot], [], technician, day)
    with pytest.raises(NotBookable, match="is away on that day"):
        visits.book(booking, now)
    leave.withdrawn_at = now
    leave.save()
    assert visits.book(booking, now).day == day


def test_completing_holds_the_drop_to_what_was_promised_of_it(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    """The media has a curve and the slot an airflow, so there is a promise; it is made at once."""
    MediaPointFactory(media=slot.first_media)
    MediaPointFactory(media=slot.first_media, airflow_m3s=0.4, clean_drop_pa=55.0)
    done = FilterDone(slot, True, None, drop_before_pa=60.0, drop_after_pa=25.0)
    visits.complete(visit, Outcome(now, [done]), technician_user, now)
    before = Reading.objects.order_by("taken_at")[0]
    assert before.foretold.p50_pa is not None
    assert before.foretold.days == 28


def test_the_filter_that_went_in_leaves_the_stock(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    usual, other, uncounted = slot.first_media, MediaFactory(on_hand=3), MediaFactory(on_hand=None)
    assert usual is not None
    Media.objects.filter(pk=usual.pk).update(on_hand=0)
    visits.complete(visit, Outcome(now, [FilterDone(slot, True, other)]), technician_user, now)
    assert set(Media.objects.values_list("name", "on_hand")) == {
        (usual.name, 0), (other.name, 2), (uncounted.name, None),
    }  # fmt: skip


def test_a_stock_that_was_counted_wrong_goes_below_nothing(
    visit: Visit, slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    Media.objects.update(on_hand=0)
    visits.complete(visit, Outcome(now, [FilterDone(slot, True)]), technician_user, now)
    assert Media.objects.get(pk=slot.first_media_id).on_hand == -1


def test_what_is_retired_leaves_the_visits_and_one_left_with_nothing_is_called_off(
    slot: FilterSlot, task: MaintenanceTask, home: Site, gas_fitter: Technician, now: datetime
) -> None:
    booking = Booking(home, [slot], [], gas_fitter, TODAY + timedelta(days=1), sure=True)
    alone = visits.book(booking, now)
    other = FilterSlotFactory(system=slot.system)
    both = visits.book(replace(booking, slots=[other], tasks=[task], day=TODAY + timedelta(days=2)), now)
    assert visits.drop_gone(home) == 0
    for gone in (slot, other):
        gone.retired_on = TODAY
        gone.save()
    assert visits.drop_gone(home) == 1
    alone.refresh_from_db()
    both.refresh_from_db()
    assert (alone.state, both.state) == (Visit.State.CANCELLED, Visit.State.SCHEDULED)
    assert [job.task for job in both.jobs.all()] == [task]


def test_a_customer_who_has_gone_is_visited_no_more(
    slot: FilterSlot, home: Site, gas_fitter: Technician, now: datetime
) -> None:
    visit = visits.book(Booking(home, [slot], [], gas_fitter, TODAY + timedelta(days=1), sure=True), now)
    home.customer.gone_on = TODAY
    home.customer.save()
    assert visits.drop_gone(home) == 1
    visit.refresh_from_db()
    assert (visit.state, visit.note) == (Visit.State.CANCELLED, "The customer has gone.")
