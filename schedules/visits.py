"""Visits: what a technician does at a site becomes one trip; completing it plans again."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from equipment.commissioning import Measured, record_air
from equipment.models import Desk, FilterChange, FilterSlot, Media, Reading, Site, System, User
from equipment.record import NotRecordable, Told, record_change, record_reading
from schedules import defects, due, foretelling
from schedules.bookable import Hours, NotBookable, Unsuited, ask_unsuited, refuse_hours, refuse_unfit
from schedules.explain import say_day
from schedules.models import MaintenanceTask, Policy, Technician, Visit, VisitJob
from schedules.photographs import Taken, keep
from schedules.tasks_due import mark_done
from shared import clock
from shared.photographs import Photograph

ARRIVE_AND_LEAVE_MINUTES = 10
MINUTES_A_FILTER = 12
# How far ahead jobs of one site are offered as one trip.
HORIZON_DAYS = 30
TOGETHER_DAYS = 45
# A second trip so near to another is asked about.
NEAR_DAYS = 10


@dataclass(frozen=True)
class Offer:
    """Jobs of one site that can share a trip."""

    site: Site
    slots: list[FilterSlot]
    tasks: list[MaintenanceTask]
    pace: float = 1.0

    @property
    def due_on(self) -> date | None:
        """The earliest due day among the jobs."""
        days = [slot.plan.due_on for slot in self.slots] + [task.due_on for task in self.tasks]
        return min((day for day in days if day), default=None)

    @property
    def minutes(self) -> int:
        """Expected minutes at the site."""
        return minutes_for(self.slots, self.tasks, self.pace)

    @property
    def skills(self) -> list[str]:
        """The skills that all jobs together need."""
        return sorted({task.skill for task in self.tasks if task.skill})


def minutes_for(slots: Sequence[FilterSlot], tasks: Sequence[MaintenanceTask], pace: float = 1.0) -> int:
    """Expected minutes at the site for these jobs, ``pace`` times what is usual."""
    usual = ARRIVE_AND_LEAVE_MINUTES + MINUTES_A_FILTER * len(slots) + sum(task.minutes for task in tasks)
    return round(pace * usual)


def offers(today: date, horizon_days: int = HORIZON_DAYS) -> list[Offer]:
    """Sites with a technician's job due within the horizon, each with all that can share the trip."""
    last, pace = today + timedelta(days=horizon_days + TOGETHER_DAYS), Policy.the().stay_factor
    slots = _technician_slots(last)
    tasks = (
        MaintenanceTask.objects.filter(due_on__lte=last, ended_on=None, system__replaced_on=None)
        .exclude(jobs__visit__state__in=Visit.OPEN)
        .select_related("system__site__customer")
    )
    by_site: dict[int, Offer] = {}
    for slot in slots:
        by_site.setdefault(slot.system.site_id, Offer(slot.system.site, [], [], pace)).slots.append(slot)
    for task in tasks.filter(system__site__vacant_since=None, system__site__customer__gone_on=None):
        by_site.setdefault(task.system.site_id, Offer(task.system.site, [], [], pace)).tasks.append(task)
    near = (_trimmed(offer, today) for offer in by_site.values())
    horizon = today + timedelta(days=horizon_days)
    return sorted(
        (o for o in near if o.due_on and o.due_on <= horizon), key=lambda o: (o.due_on, o.site.name)
    )


def _technician_slots(last: date) -> list[FilterSlot]:
    rows = (
        FilterSlot.objects.in_use()
        .filter(
            changed_by=FilterSlot.ChangedBy.TECHNICIAN,
            plan__due_on__lte=last,
            system__site__vacant_since=None,
        )
        .exclude(jobs__visit__state__in=Visit.OPEN)
        .select_related("system__site__customer", "plan", "first_media")
    )
    return list(rows.order_by("name"))


def _trimmed(offer: Offer, today: date) -> Offer:
    """Without the jobs that fall due too long after the first, or after today where that is overdue."""
    first = offer.due_on
    if first is None:
        return offer
    last = max(first, today) + timedelta(days=TOGETHER_DAYS)
    return replace(
        offer,
        slots=[slot for slot in offer.slots if slot.plan.due_on and slot.plan.due_on <= last],
        tasks=[task for task in offer.tasks if task.due_on and task.due_on <= last],
    )


@dataclass(frozen=True)
class Booking:
    """What a manager asks for: jobs of a site, or what somebody rang for with its minutes and skill, for a
    technician on a day, perhaps within hours."""

    site: Site
    slots: Sequence[FilterSlot]
    tasks: Sequence[MaintenanceTask]
    technician: Technician | None = None
    day: date | None = None
    window_from: time | None = None
    window_to: time | None = None
    sure: bool = False
    wanted: str = ""
    wanted_minutes: int = 0
    wanted_skill: str = ""

    @property
    def skills(self) -> list[str]:
        """The skills that all of it needs."""
        told = {task.skill for task in self.tasks} | ({self.wanted_skill} if self.wanted else set())
        return sorted(told - {""})


def book(booking: Booking, now: datetime) -> Visit:
    """Make the visit; scheduled when it has technician and day, else due. Raises NotBookable, and Unsuited
    where it is possible and yet not as usual, unless the asker is sure."""
    _refuse_unbookable(booking, now)
    scheduled = booking.technician is not None and booking.day is not None
    with transaction.atomic():
        visit = Visit.objects.create(
            site=booking.site,
            state=Visit.State.SCHEDULED if scheduled else Visit.State.DUE,
            technician=booking.technician if scheduled else None,
            day=booking.day if scheduled else None,
            window_from=booking.window_from,
            window_to=booking.window_to,
            minutes=_minutes_of(booking),
            skills=booking.skills,
            wanted=booking.wanted,
        )
        jobs = [VisitJob(visit=visit, slot=slot) for slot in booking.slots]
        jobs += [VisitJob(visit=visit, task=task) for task in booking.tasks]
        bulk_create_with_history(jobs, VisitJob)
    return visit


def ask_of_another(visit: Visit) -> None:
    """Raise Unsuited where somebody comes to the home within days anyway."""
    if visit.day is None:
        return
    near = (visit.day - timedelta(days=NEAR_DAYS), visit.day + timedelta(days=NEAR_DAYS))
    others = Visit.objects.filter(site=visit.site_id, state__in=Visit.ON_A_DAY, day__range=near)
    other = others.exclude(pk=visit.pk).select_related("technician").order_by("day").first()
    if other is not None:
        said = {"name": other.technician, "day": say_day(other.day)}
        raise Unsuited(_("%(name)s comes to this home on %(day)s anyway: two trips?") % said)


def _minutes_of(booking: Booking) -> int:
    usual = minutes_for(booking.slots, booking.tasks, Policy.the().stay_factor)
    return usual + (booking.wanted_minutes if booking.wanted else 0)


def schedule(visit: Visit, technician: Technician, day: date, now: datetime, *, sure: bool = False) -> Visit:
    """Give an open visit to a technician on a day. Raises NotBookable, and Unsuited unless ``sure``."""
    if not visit.is_open:
        raise NotBookable(_("This visit is over."))
    refuse_unfit(technician, visit.skills, day, now)
    hours = Hours(visit.window_from, visit.window_to)
    refuse_hours(technician, hours)
    if not sure:
        ask_unsuited(visit.site, technician, day, hours)
    visit.technician, visit.day, visit.state = technician, day, Visit.State.SCHEDULED
    visit.forget_times()
    visit.save()
    return visit


def _refuse_unbookable(booking: Booking, now: datetime) -> None:
    if not booking.slots and not booking.tasks and not booking.wanted:
        raise NotBookable(_("Choose at least one filter or task, or say what somebody is needed for."))
    if (booking.technician is None) != (booking.day is None):
        raise NotBookable(_("A technician and a day go together: name both or neither."))
    if booking.window_from and booking.window_to and booking.window_to < booking.window_from:
        raise NotBookable(_("The hours end before they begin."))
    taken = VisitJob.objects.filter(visit__state__in=Visit.OPEN)
    if taken.filter(slot__in=booking.slots).exists() or taken.filter(task__in=booking.tasks).exists():
        raise NotBookable(_("One of these jobs is already part of an open visit."))
    if booking.technician is not None and booking.day is not None:
        refuse_unfit(booking.technician, booking.skills, booking.day, now)
        hours = Hours(booking.window_from, booking.window_to)
        refuse_hours(booking.technician, hours)
        if not booking.sure:
            ask_unsuited(booking.site, booking.technician, booking.day, hours)


@dataclass
class FilterDone:
    """What was done at one slot: drops in Pa, airflow in m3/s, None where not measured; the photograph that
    came with it."""

    slot: FilterSlot
    changed: bool
    media: Media | None = None
    drop_before_pa: float | None = None
    drop_after_pa: float | None = None
    airflow_m3s: float | None = None
    photograph: Photograph | None = None


@dataclass
class Outcome:
    """A completed visit as the technician tells it."""

    at: datetime
    filters: list[FilterDone] = field(default_factory=list)
    tasks_done: list[MaintenanceTask] = field(default_factory=list)
    findings: str = ""
    note: str = ""
    air: list[tuple[System, Measured]] = field(default_factory=list)
    # Kinds of ``Defect``.
    seen: Sequence[str] = ()


def arrive(visit: Visit, now: datetime) -> Visit:
    """The technician is at the door of a visit of today. Raises NotRecordable for another one; told again,
    the first time stands."""
    if visit.state not in Visit.ON_A_DAY or visit.day != clock.local_day(now, Desk.the().zone):
        raise NotRecordable(_("Only a visit of today can have begun."))
    if visit.arrived_at is None:
        visit.arrived_at, visit.state = now, Visit.State.UNDER_WAY
        visit.save(update_fields=["arrived_at", "state"])
    return visit


def bring_forward(visit: Visit, today: date) -> date | None:
    """Move a visit of a day to come to today, unsaved, out of that day's order; the day that it was booked
    for."""
    if visit.day is None or visit.day <= today or not visit.is_open:
        return None
    booked_for, visit.day = visit.day, today
    visit.forget_times()
    return booked_for


def open_again(visit: Visit) -> None:
    """A visit at which nobody had opened goes on, unsaved: they came home."""
    visit.state = Visit.State.UNDER_WAY if visit.technician_id and visit.day else Visit.State.DUE
    visit.completed_at = None


def complete(visit: Visit, outcome: Outcome, user: User, now: datetime) -> Visit:
    """Write everything down, or nothing, and plan the site's filters again.

    Raises NotRecordable when a reading or a change cannot be so; the visit then stays open.
    """
    if not visit.is_open:
        raise NotRecordable(_("This visit is already over."))
    if outcome.at > now + timedelta(minutes=5):
        raise NotRecordable(_("That moment is still to come."))
    with transaction.atomic():
        write_down(visit, outcome, user, now)
        mark_jobs(visit.jobs.filter(done=None), done=False)
        _name_who(visit, user, clock.local_day(outcome.at, Desk.the().zone))
        visit.state, visit.completed_at = Visit.State.COMPLETED, outcome.at
        visit.findings, visit.note = outcome.findings, outcome.note
        visit.save()
        defects.note(visit, outcome.seen, outcome.at, user)
    due.replan(now, FilterSlot.objects.filter(system__site=visit.site_id))
    foretelling.foretell_readings(now, site=visit.site_id)
    return visit


def write_down(visit: Visit, outcome: Outcome, user: User, now: datetime) -> None:
    """Readings, changes, photographs, air side and tasks of a visit, within a transaction. Raises
    NotRecordable."""
    tz = visit.site.zone(Desk.the().timezone)
    for done in outcome.filters:
        _write_filter(done, outcome.at, tz, user, now)
        mark_jobs(visit.jobs.filter(slot=done.slot), done=done.changed)
        if done.photograph is not None:
            keep(Taken(uuid4(), done.slot, visit, outcome.at), done.photograph, user, now)
    for system, measured in outcome.air:
        _write_air(system, measured, outcome, user, now)
    for task in outcome.tasks_done:
        mark_done(task, clock.local_day(outcome.at, tz), visit, outcome.note, due.today(now))
        mark_jobs(visit.jobs.filter(task=task), done=True)


def mark_jobs(jobs: QuerySet[VisitJob], *, done: bool) -> None:
    """Say of jobs whether they were done, each with its history."""
    rows = [job for job in jobs if job.done is not done]
    for job in rows:
        job.done = done
    bulk_update_with_history(rows, VisitJob, ["done"])


def _name_who(visit: Visit, user: User, day: date) -> None:
    """A visit that lost its day meanwhile is of whoever did it, on the day that it was done."""
    if visit.technician_id is None:
        visit.technician = Technician.objects.filter(user=user).first()
    visit.day = visit.day or day


def _write_air(system: System, measured: Measured, outcome: Outcome, user: User, now: datetime) -> None:
    """The air side as measured after the work: with the filters then in there."""
    if not measured.of_the_system:
        return
    drops = [
        done.drop_after_pa if done.changed and done.drop_after_pa is not None else done.drop_before_pa
        for done in outcome.filters
        if done.slot.system_id == system.pk
    ]
    known = [drop for drop in drops if drop is not None]
    beside = replace(measured, filter_drop_pa=max(known) if known else None)
    record_air(system, beside, outcome.at, user, now)


def _write_filter(done: FilterDone, at: datetime, tz: ZoneInfo, user: User, now: datetime) -> None:
    """The old filter's reading, the change, the new filter's reading: a second apart, in that order."""
    if done.drop_before_pa is not None:
        at_removal = at - timedelta(seconds=1) if done.changed else at
        write_reading(done.slot, at_removal, done.drop_before_pa, done.airflow_m3s, user, now)
    if done.changed:
        told = Told(FilterChange.Told.TECHNICIAN, FilterSlot.ChangedBy.TECHNICIAN, user)
        record_change(done.slot, clock.local_day(at, tz), done.media, told, now, at=at)
        if done.drop_after_pa is not None:
            write_reading(
                done.slot, at + timedelta(seconds=1), done.drop_after_pa, done.airflow_m3s, user, now
            )


def write_reading(
    slot: FilterSlot, at: datetime, drop_pa: float, airflow_m3s: float | None, user: User, now: datetime
) -> None:
    """A drop in Pa and the airflow in m3/s, if measured, at a slot. Raises NotRecordable."""
    reading = Reading(slot=slot, taken_at=at, filter_drop_pa=drop_pa, airflow_m3s=airflow_m3s, taken_by=user)
    record_reading(reading, now)


def drop_done(slots: Sequence[int]) -> None:
    """Take filters that were changed meanwhile out of the visits that wait for a day; a visit left with
    nothing to do is called off."""
    waiting = VisitJob.objects.filter(
        slot__in=slots, visit__state__in=(Visit.State.DUE, Visit.State.DISPLACED), visit__day=None
    )
    visits = set(waiting.values_list("visit", flat=True))
    with transaction.atomic():
        waiting.delete()
        for visit in Visit.objects.filter(pk__in=visits, wanted="", jobs=None):
            cancel(visit, "")


def drop_gone(site: Site) -> int:
    """Take what is not there any more at the site, retired or replaced, out of its open visits; how many were
    called off because nothing was left to do, or the customer has gone."""
    if site.customer.gone_on is not None:
        left = list(Visit.objects.filter(site=site, state__in=Visit.OPEN))
        for visit in left:
            cancel(visit, _("The customer has gone."))
        return len(left)
    gone = Q(slot__retired_on__isnull=False) | Q(slot__system__replaced_on__isnull=False)
    jobs = VisitJob.objects.filter(gone | Q(task__system__replaced_on__isnull=False))
    jobs = jobs.filter(visit__site=site, visit__state__in=Visit.OPEN)
    visits = set(jobs.values_list("visit", flat=True))
    with transaction.atomic():
        VisitJob.objects.filter(pk__in=list(jobs.values_list("pk", flat=True))).delete()
        empty = list(Visit.objects.filter(pk__in=visits, wanted="", jobs=None))
        for visit in empty:
            cancel(visit, _("What it was for is not there any more."))
    return len(empty)


def no_access(visit: Visit, note: str, now: datetime) -> Visit:
    """Nobody opened: the visit ends, its jobs are free to be offered again."""
    if not visit.is_open:
        raise NotRecordable(_("This visit is already over."))
    if visit.day is None or visit.day > clock.local_day(now, Desk.the().zone):
        raise NotRecordable(_("Nobody can have stood at that door yet: the visit's day is still to come."))
    visit.state, visit.note, visit.completed_at = Visit.State.NO_ACCESS, note, now
    visit.save()
    return visit


def displace(visit: Visit, why: str) -> Visit:
    """Something urgent takes the place of a booked visit, which waits for another day. Raises NotBookable.

    Who was told of it is written to, or rung, as of any visit that loses its day.
    """
    if visit.state not in Visit.ON_A_DAY:
        raise NotBookable(_("Only a visit that has its day can lose it."))
    visit.displaced_from, visit.times_displaced = visit.day, visit.times_displaced + 1
    visit.state, visit.note = Visit.State.DISPLACED, why
    visit.technician, visit.day, visit.pinned, visit.arrived_at = None, None, False, None
    visit.forget_times()
    visit.save()
    return visit


def cancel(visit: Visit, note: str) -> Visit:
    """Call an open visit off; its jobs are free to be offered again."""
    if not visit.is_open:
        raise NotBookable(_("This visit is over."))
    visit.state, visit.note = Visit.State.CANCELLED, note
    visit.save()
    return visit


def hold(visit: Visit, held: bool) -> Visit:
    """Hold a booked visit to its technician and day, or let it go again. Raises NotBookable where it has
    none."""
    if visit.state not in Visit.ON_A_DAY:
        raise NotBookable(_("Only a visit that has its day can be held to it."))
    visit.pinned = held
    visit.save(update_fields=["pinned"])
    return visit
