"""Several days' rounds as one routing problem: trips with their windows in, a proposal out."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, time, timedelta

from django.db.models import Q, QuerySet

from equipment.models import Desk, FilterSlot, Site
from schedules import visits
from schedules.day_problem import NoStart, Place, start_of
from schedules.hours import DAY_S, seconds_of, span_of
from schedules.models import Absence, HomeHours, MaintenanceTask, Policy, RoundPlan, Technician, Visit
from schedules.open_times import standing
from schedules.outdoors import Outdoors
from schedules.planning.routing import Problem, Stop
from schedules.planning.routing import Technician as Shift
from schedules.planning.windows import (
    OVERDUE_DAYS,
    DueWindow,
    days_open,
    due_window,
    joined,
    waste_s,
    worth_of_serving,
)
from schedules.slow_hours import pace_over
from schedules.travel import travel_between
from schedules.visit_notices import told_by_visit, told_of
from schedules.visit_promises import standing_promise

# A trip of its own, there and back, where a job is left for later.
OWN_TRIP_S = 2400
# Moving a booked visit is worth it where it saves so much travel. Own choice.
MOVE_S = 900
# What is late costs so much travel with every further day. Own choice.
LATE_S_A_DAY = 600
# What a technician-day has that is no day of rest.
_USUAL = "not:rest"
# Jobs due so many days after the plan may be ripe within it.
LOOK_BEYOND_DAYS = 60


@dataclass(frozen=True)
class Trip:
    """What would be one stop: a home's jobs, or a visit on record, with its window and where it is held."""

    site: Site
    slots: list[FilterSlot]
    tasks: list[MaintenanceTask]
    window: DueWindow
    minutes: int
    skills: frozenset[str]
    visit: Visit | None = None
    held: bool = False
    told_hours: tuple[time, time] | None = None
    life_days: int = 0
    late_since: date | None = None
    too_cold: frozenset[date] = frozenset()
    # Told, confirmed or held to its day by the manager: it outranks what is merely booked.
    promised: bool = False

    @property
    def key(self) -> str:
        """Its id in the problem."""
        return f"visit-{self.visit.pk}" if self.visit else f"home-{self.site.pk}"


@dataclass(frozen=True)
class VanDay:
    """A technician on a day of the plan."""

    technician: Technician
    day: date

    @property
    def key(self) -> str:
        """Its id in the problem."""
        return f"{self.technician.pk}:{self.day.isoformat()}"


@dataclass(frozen=True)
class Asked:
    """The problem and what its ids stand for; ``unplaced`` lack a position, ``no_start`` a place to start."""

    problem: Problem
    trips: dict[str, Trip]
    vans: dict[str, VanDay]
    places: list[Place]
    unplaced: list[Trip] = field(default_factory=list)
    no_start: list[Technician] = field(default_factory=list)
    reckoned: str = ""
    # Booked for a day past, and nobody said how it ended.
    unsaid: list[Trip] = field(default_factory=list)


def trips_of(plan: RoundPlan, today: date) -> list[Trip]:
    """Every visit on the plan's days, every job whose window reaches into them."""
    return [*_booked(plan, today), *_waiting(plan, today), *_offered(plan, today)]


def ask(plan: RoundPlan, today: date, every: Sequence[Trip] | None = None) -> Asked:
    """The problem of the plan's days, of ``every`` trip (None: of those that are to be had)."""
    days = [plan.first_day + timedelta(days=at) for at in range((plan.last_day - plan.first_day).days + 1)]
    vans, no_start = vans_of(days)
    every = trips_of(plan, today) if every is None else every
    outdoors = Outdoors(today)
    trips = [
        replace(trip, too_cold=outdoors.too_cold(trip.site, trip.tasks, days))
        for trip in every
        if trip.site.placed
    ]
    hours = {row.site_id: row for row in HomeHours.objects.prefetch_related("not_by")}
    starts = {van.technician.pk: start_of(van.technician) for van in vans}
    places = list(dict.fromkeys(starts.values()))
    node = {pk: places.index(place) for pk, place in starts.items()}
    barred = {who.pk for row in hours.values() for who in row.not_by.all()}
    places += [(float(trip.site.latitude or 0), float(trip.site.longitude or 0)) for trip in trips]
    first_stop = len(places) - len(trips)
    stops = [
        _stop(trip, first_stop + at, vans, plan, hours.get(trip.site.pk)) for at, trip in enumerate(trips)
    ]
    held = {trip.visit.technician_id for trip in trips if trip.held and trip.visit}
    shifts = [_shift(van, days[0], node, barred, held) for van in vans]
    travel = travel_between(places)
    return Asked(
        Problem(
            tuple(shifts),
            tuple(stops),
            travel.seconds,
            travel.metres,
            pace=pace_over(days, lambda day, hour: (day - days[0]).days * DAY_S + seconds_of(hour)),
        ),
        {trip.key: trip for trip in trips},
        {van.key: van for van in vans},
        places,
        [trip for trip in every if not trip.site.placed],
        no_start,
        travel.reckoned,
        unsaid(today),
    )


def vans_of(days: Sequence[date]) -> tuple[list[VanDay], list[Technician]]:
    """Who works on which of the days, and who cannot for want of a place to start from."""
    away = Absence.objects.filter(withdrawn_at=None, first_day__lte=days[-1], last_day__gte=days[0])
    free: dict[int | None, set[date]] = {}
    for row in away:
        free.setdefault(row.technician_id, set()).update(
            day for day in days if row.first_day <= day <= row.last_day
        )
    # Who was promised somebody on a day of rest is visited then, and nobody else.
    rows = Visit.objects.filter(day__range=(days[0], days[-1]), state__in=Visit.ON_A_DAY)
    told = told_by_visit(set(rows.values_list("pk", flat=True)))
    booked = {
        (visit.technician_id, visit.day)
        for visit in rows
        if visit.pinned or visit.state == Visit.State.CONFIRMED or visit.pk in told
    }
    vans, no_start = [], []
    for technician in Technician.objects.filter(Q(gone_on=None) | Q(gone_on__gt=days[0])).select_related(
        "depot"
    ):
        try:
            start_of(technician)
        except NoStart:
            no_start.append(technician)
            continue
        off = free.get(None, set()) | free.get(technician.pk, set())
        gone = technician.gone_on
        vans += [
            VanDay(technician, day)
            for day in days
            if (day.weekday() in technician.weekdays or (technician.pk, day) in booked)
            and day not in off
            and (gone is None or day < gone)
        ]
    return vans, no_start


def _shift(van: VanDay, first: date, node: dict[int, int], barred: set[int], held: set[int | None]) -> Shift:
    who, offset = van.technician, (van.day - first).days * DAY_S
    tokens = {f"not:{pk}" for pk in barred if pk != who.pk}
    if van.day.weekday() in who.weekdays:
        tokens.add(_USUAL)
    if who.pk in held:
        tokens.add(f"by:{who.pk}")
    return Shift(
        van.key,
        node[who.pk],
        (offset + seconds_of(who.day_starts), offset + seconds_of(who.day_ends)),
        frozenset(who.skills) | tokens,
        who.van_room,
    )


def _stop(trip: Trip, node: int, vans: Sequence[VanDay], plan: RoundPlan, hours: HomeHours | None) -> Stop:
    skills, visit = set(trip.skills), trip.visit
    if trip.held and visit is not None:
        skills.add(f"by:{visit.technician_id}")
    else:
        skills |= {f"not:{who.pk}" for who in hours.not_by.all()} if hours else set()
        skills.add(_USUAL)
    span = _hours(trip, hours)
    must = not _may_wait(trip, plan)
    return Stop(
        id=trip.key,
        node=node,
        service_s=trip.minutes * 60,
        windows=tuple(
            ((day - plan.first_day).days * DAY_S + span[0], (day - plan.first_day).days * DAY_S + span[1])
            for day in _days(trip, vans, plan, hours)
        )
        # No day suits: a window outside every shift, so that the reason is told.
        or ((-2, -1),),
        skills=frozenset(skills),
        load=len(trip.slots),
        must=must,
        worth=0 if must else worth_of_serving(trip.window, plan.last_day, OWN_TRIP_S),
        dearer=_dearer(trip, vans),
        firm=must and trip.promised,
    )


def _days(trip: Trip, vans: Sequence[VanDay], plan: RoundPlan, hours: HomeHours | None) -> list[date]:
    """The days on which the trip may be made."""
    if trip.held and trip.visit is not None:
        return [trip.visit.day] if trip.visit.day else []
    suits = hours.weekdays if hours else []
    booked = {trip.visit.day} if trip.visit and trip.visit.day else set()
    works = {van.day for van in vans if not suits or van.day.weekday() in suits}
    working = sorted(works - trip.too_cold)
    open_ = days_open(trip.window, working, must=not _may_wait(trip, plan))
    # The day that it is booked for stays possible where it suits, whatever its window.
    return sorted({*open_, *(booked & set(working))})


def _may_wait(trip: Trip, plan: RoundPlan) -> bool:
    return trip.visit is None and trip.window.last > plan.last_day


def _dearer(trip: Trip, vans: Sequence[VanDay]) -> tuple[tuple[str, int], ...]:
    """Seconds of travel by technician-day that serving the trip there counts on top: for life thrown away,
    and for moving what is booked elsewhere."""
    if trip.held:
        return ()
    visit, found = trip.visit, []
    for van in vans:
        extra = waste_s(trip.window, van.day, trip.life_days, OWN_TRIP_S) if trip.life_days else 0
        if trip.late_since is not None:
            extra = LATE_S_A_DAY * max((van.day - trip.window.first).days, 0)
        if visit is not None and visit.day is not None:
            elsewhere = van.day != visit.day or van.technician.pk != visit.technician_id
            # What was booked early was meant so: only a still earlier day throws more away.
            extra = extra + MOVE_S if elsewhere else 0
        if extra:
            found.append((van.key, extra))
    return tuple(found)


def _hours(trip: Trip, hours: HomeHours | None) -> tuple[int, int]:
    """Seconds of the day between which the work may begin."""
    if trip.told_hours:
        first, last = map(seconds_of, trip.told_hours)
        # Hours told up to midnight end with the day.
        return first, last if last > first else DAY_S - 1
    visit = trip.visit
    return span_of(
        [visit.window_from if visit else None, hours.not_before if hours else None],
        [visit.window_to if visit else None, hours.not_after if hours else None],
    )


def _booked(plan: RoundPlan, today: date) -> list[Trip]:
    """Visits on the plan's days; held unless booked visits may move and nobody was told of this one."""
    rows = Visit.objects.filter(
        state__in=(Visit.State.SCHEDULED, Visit.State.CONFIRMED), day__range=(plan.first_day, plan.last_day)
    )
    trips, zone = [], Desk.the().zone
    for visit in _with_jobs(rows):
        told = standing_promise(visit, told_of(visit))
        hours = None
        if told is not None and told.first and told.last and told.day == visit.day:
            hours = told.first.astimezone(zone).time(), told.last.astimezone(zone).time()
        came = told_of(visit)
        # Where other hours were agreed since, the day still stands.
        promised = (came is not None and came.coming) or visit.state == Visit.State.CONFIRMED
        held = not plan.may_move or visit.pinned or promised
        trip = _of_visit(visit, today, held=held, told_hours=hours)
        window = _not_before(_told_by(plan, today), trip.window)
        trips.append(replace(trip, window=window, promised=promised or visit.pinned))
    return trips


def _told_by(plan: RoundPlan, today: date) -> date:
    """The first day on which somebody may come who was not asked for."""
    return max(plan.first_day, today + timedelta(days=Policy.the().visit_notice_days))


def _waiting(plan: RoundPlan, today: date) -> list[Trip]:
    """Visits that wait for a day: asked for, and so made within the plan, ripe or not."""
    rows = Visit.objects.filter(state__in=(Visit.State.DUE, Visit.State.DISPLACED), day=None)
    # Whose household is choosing a time is not planned over its head.
    rows = rows.exclude(pk__in=standing(today).values("visit"))
    trips = []
    for visit in _with_jobs(rows):
        trip = _of_visit(visit, today)
        first = min(trip.window.first, plan.first_day)
        trips.append(replace(trip, window=DueWindow(first, _not_before(plan.first_day, trip.window).last)))
    return trips


def unsaid(today: date) -> list[Trip]:
    """Visits booked for a day past of which nobody said how they ended."""
    rows = Visit.objects.filter(state__in=Visit.ON_A_DAY, day__lt=today)
    return [_of_visit(visit, today, held=True) for visit in _with_jobs(rows)]


def _with_jobs(rows: QuerySet[Visit]) -> QuerySet[Visit]:
    jobs = ("jobs__slot__plan", "jobs__slot__system__site", "jobs__task__system")
    return rows.select_related("site__customer", "technician").prefetch_related(*jobs).order_by("pk")


def _of_visit(
    visit: Visit, today: date, *, held: bool = False, told_hours: tuple[time, time] | None = None
) -> Trip:
    jobs = list(visit.jobs.all())
    slots = [job.slot for job in jobs if job.slot]
    tasks = [job.task for job in jobs if job.task]
    return Trip(
        visit.site, slots, tasks, window_of(slots, tasks, today), visit.minutes, frozenset(visit.skills),
        visit, held, told_hours, life_of(slots, tasks),
    )  # fmt: skip


def _offered(plan: RoundPlan, today: date) -> list[Trip]:
    """Jobs of homes without an open visit, whose window begins by the plan's last day. What nobody booked
    before the plan begins is late by then, and wants to be done in its first days; whom nobody asked yet is
    told some days ahead."""
    trips = []
    told_by = _told_by(plan, today)
    for offer in visits.offers(today, (plan.last_day - today).days + LOOK_BEYOND_DAYS):
        due = window_of(offer.slots, offer.tasks, today)
        window = _not_before(told_by, due)
        late = offer.due_on is not None and offer.due_on < max(plan.first_day, today)
        late_since = offer.due_on if late else None
        if window.first <= plan.last_day:
            trips.append(
                Trip(
                    offer.site, offer.slots, offer.tasks, window, offer.minutes, frozenset(offer.skills),
                    life_days=life_of(offer.slots, offer.tasks), late_since=late_since,
                )
            )  # fmt: skip
    return trips


def _not_before(first: date, window: DueWindow) -> DueWindow:
    """What is left of the window from a day on, or the days after it for what is late by then."""
    if window.last >= first:
        return DueWindow(max(window.first, first), window.last)
    return DueWindow(first, first + timedelta(days=OVERDUE_DAYS))


def _dates(slots: Sequence[FilterSlot], tasks: Sequence[MaintenanceTask]) -> list[tuple[date, date | None]]:
    """Due day of each job that has one, and since when it counts, None where that is not known."""
    plans = [slot.plan for slot in slots if getattr(slot, "plan", None)]
    dates = [(plan.due_on, plan.life_began_on) for plan in plans]
    dates += [(task.due_on, task.last_done_on) for task in tasks]
    return [(due, since) for due, since in dates if due]


def life_of(slots: Sequence[FilterSlot], tasks: Sequence[MaintenanceTask]) -> int:
    """Days from the last change to the due day of the job that is first to be late; nought if not known."""
    spans = ((due, since) for due, since in _dates(slots, tasks) if since)
    due, since = min(spans, default=(date.min, date.min))
    return (due - since).days


def window_of(slots: Sequence[FilterSlot], tasks: Sequence[MaintenanceTask], today: date) -> DueWindow:
    """The days on which the jobs are best done together; today where none has a date."""
    windows = [due_window(today, since, due) for due, since in _dates(slots, tasks)]
    return joined(windows or [due_window(today, None, today)])
