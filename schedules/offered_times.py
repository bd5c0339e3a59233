"""Two or three times for a household to choose from: found in the rounds as they stand, offered, chosen."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules import routes, visits
from schedules.bookable import Hours, NotBookable, ask_unsuited, refuse_hours, refuse_unfit
from schedules.day_problem import NoStart, start_of
from schedules.hours_of_sending import next_sending
from schedules.models import HomeHours, Notice, OfferedTime, Policy, Technician, Visit
from schedules.open_times import WAITING, open_times
from schedules.outdoors import Outdoors
from schedules.planning.travel import estimate
from schedules.visit_notices import readers_of
from shared import clock

MOST = 3
# A letter is read before the first day that it offers, and nobody plans further ahead than that. Own choices.
FIRST_DAY, LAST_DAY = 3, 24
NOON = time(12)
# So much more driving a time may cost for each day that it comes sooner, once it is due. Own choice.
LATE_S_A_DAY = 600.0
# Times tried against the day's round, the cheapest by the way first.
MOST_TRIED = 24


@dataclass
class Time:
    """A technician, a day and hours within which somebody could come; ``cost_s`` the way there in seconds of
    driving more, with something for every day after the due one."""

    technician: Technician
    day: date
    first: time
    last: time
    cost_s: float

    @property
    def name(self) -> str:
        """By which it is chosen from those that were found."""
        return f"{self.technician.pk}:{self.day}:{self.first:%H%M}"


def find_times(visit: Visit, now: datetime) -> list[Time]:
    """Up to three times at which the visit finds a place in the rounds as they stand, the earliest first.

    Of different days, and mornings and afternoons where both have room. Raises NotBookable for a visit that
    does not wait for a day and for a home without a position.
    """
    if visit.state not in WAITING:
        raise NotBookable(_("Only a visit that waits for a day can be offered times."))
    if not visit.site.placed:
        raise NotBookable(
            _("The address has no position; find it on a map and enter latitude and longitude.")
        )
    if not _warm_days(visit, now):
        raise NotBookable(_("It is expected to be too cold outdoors for its work in the next weeks."))
    found: list[Time] = []
    ranked = sorted(_candidates(visit, now), key=lambda one: (one.cost_s, one.day, one.technician.name))
    for one in [*_spread(ranked)[:MOST_TRIED], *ranked[:MOST_TRIED]]:
        if _adds(found, one) and not _why_not(visit, one, now):
            found.append(one)
        if len(found) == MOST:
            break
    return sorted(found, key=lambda one: (one.day, one.first))


def _adds(found: list[Time], one: Time) -> bool:
    """Whether it lies on another day, and in another half of it where those before are all of one."""
    halves = {other.first >= NOON for other in found}
    alike = len(found) == MOST - 1 and halves == {one.first >= NOON}
    return one.day not in {other.day for other in found} and not alike


def _spread(ranked: list[Time]) -> list[Time]:
    """The best of each day first, then what is left."""
    seen: set[date] = set()
    best: list[Time] = []
    others: list[Time] = []
    for one in ranked:
        (others if one.day in seen else best).append(one)
        seen.add(one.day)
    return [*best, *others]


def _candidates(visit: Visit, now: datetime) -> Iterator[Time]:
    due_on = _due_on(visit)
    suits = HomeHours.objects.filter(site=visit.site).first()
    days = _warm_days(visit, now)
    stops = _stops_of(days)
    for technician in Technician.objects.filter(gone_on=None).order_by("name"):
        try:
            depot = start_of(technician)
        except NoStart:
            continue
        for day in days:
            hours = [half for half in _halves(technician, suits) if _suits(visit, technician, day, half, now)]
            if hours:
                way = _more_way(depot, stops[technician.pk, day], visit)
                late = max((day - due_on).days, 0) if due_on else 0
                for first, last in hours:
                    yield Time(technician, day, first, last, way + late * LATE_S_A_DAY)


def _warm_days(visit: Visit, now: datetime) -> list[date]:
    """The days that may be offered at all: those on which it is warm enough for the work."""
    today = clock.local_day(now, Desk.the().zone)
    ahead = [today + timedelta(days=n) for n in range(FIRST_DAY, LAST_DAY)]
    tasks = [job.task for job in visit.jobs.select_related("task") if job.task]
    cold = Outdoors(today).too_cold(visit.site, tasks, ahead)
    return [day for day in ahead if day not in cold]


def _due_on(visit: Visit) -> date | None:
    jobs = visit.jobs.select_related("slot__plan", "task")
    slots = [getattr(job.slot, "plan", None) for job in jobs if job.slot]
    days = [plan.due_on for plan in slots if plan] + [job.task.due_on for job in jobs if job.task]
    return min((day for day in days if day), default=None)


def _halves(technician: Technician, suits: HomeHours | None) -> list[tuple[time, time]]:
    """Morning and afternoon within the technician's day and the home's hours."""
    opens, ends = technician.day_starts, technician.day_ends
    if suits is not None:
        opens, ends = max(opens, suits.not_before or opens), min(ends, suits.not_after or ends)
    halves = [(opens, min(ends, NOON)), (max(opens, NOON), ends)]
    return [(first, last) for first, last in halves if first < last]


def _suits(visit: Visit, technician: Technician, day: date, half: tuple[time, time], now: datetime) -> bool:
    try:
        refuse_unfit(technician, visit.skills, day, now)
        refuse_hours(technician, Hours(*half))
        ask_unsuited(visit.site, technician, day, Hours(*half))
    except NotBookable:
        return False
    return True


def _stops_of(days: Sequence[date]) -> dict[tuple[int, date], list[tuple[float, float]]]:
    """Positions of what is booked, by technician and day, in the order of the round so far."""
    booked = Visit.objects.filter(day__in=days, state__in=Visit.ON_A_DAY)
    found: dict[tuple[int, date], list[tuple[float, float]]] = defaultdict(list)
    rows = booked.order_by("stop_number", "pk").values_list(
        "technician", "day", "site__latitude", "site__longitude"
    )
    for technician, day, latitude, longitude in rows:
        if day is not None and latitude is not None and longitude is not None:
            found[technician, day].append((latitude, longitude))
    return found


def _more_way(depot: tuple[float, float], stops: list[tuple[float, float]], visit: Visit) -> float:
    """Seconds of driving that the visit adds where it lies best in the round, as the crow flies."""
    home = (visit.site.latitude or 0.0, visit.site.longitude or 0.0)
    places = np.array([home, depot, *stops, depot])
    seconds, _metres = estimate(places[:, 0], places[:, 1])
    legs = np.arange(1, len(places) - 1)
    more = seconds[legs, 0] + seconds[0, legs + 1] - seconds[legs, legs + 1]
    return float(more.min())


def _why_not(visit: Visit, one: Time, now: datetime) -> str:
    """Why the day's round has no place for it; nothing is kept of the trial."""
    with transaction.atomic():
        trial = Visit.objects.select_related("site").get(pk=visit.pk)
        try:
            return _place(trial, one, now)
        except (NotBookable, NoStart) as error:
            return str(error)
        finally:
            transaction.set_rollback(True)


def _place(visit: Visit, one: Time | OfferedTime, now: datetime) -> str:
    """Put the visit into the technician's day within the hours; why that cannot be, or nothing."""
    visit.window_from, visit.window_to = one.first, one.last
    visits.schedule(visit, one.technician, one.day, now)
    return routes.fit_in(visit, now)


def offer(visit: Visit, times: Sequence[Time], now: datetime) -> Notice:
    """Offer the times by mail; earlier offers of the visit stand no longer. Raises NotBookable for none, for
    a visit that does not wait and a household without mail."""
    person = readers_of([visit.site_id]).get(visit.site_id)
    if person is None or not person.email:
        raise NotBookable(_("Nobody there has a mail address: ring them."))
    if not times:
        raise NotBookable(_("Choose at least one time to offer."))
    with transaction.atomic():
        row = Visit.objects.select_for_update().get(pk=visit.pk)
        if row.state not in WAITING:
            raise NotBookable(_("Only a visit that waits for a day can be offered times."))
        _close(visit, now)
        OfferedTime.objects.bulk_create(
            OfferedTime(
                visit=visit, technician=one.technician, day=one.day, first=one.first, last=one.last,
                offered_at=now,
            )
            for one in times
        )  # fmt: skip
        Notice.objects.filter(visit=visit, kind=Notice.Kind.TIMES, state=Notice.State.WAITING).update(
            state=Notice.State.NOT_SENT, why=_("other times were offered")
        )
        return Notice.objects.create(
            key=f"times-{visit.pk}-{visit.notices.count()}",
            kind=Notice.Kind.TIMES,
            site=visit.site,
            visit=visit,
            person=person,
            send_at=next_sending(visit.site, now, Policy.the()),
        )


def choose(visit: Visit, pk: int, now: datetime) -> Visit:
    """Book the time that the household chose; confirmed, since they asked for it.

    Raises NotBookable where it stands no longer or has been filled meanwhile; that one is closed then.
    """
    one = open_times(visit, now).filter(pk=pk).first()
    if one is None:
        raise NotBookable(_("That time stands no longer."))
    try:
        with transaction.atomic():
            row = Visit.objects.select_for_update().select_related("site").get(pk=visit.pk)
            why = _place(row, one, now) if row.state in WAITING else _("it is booked already")
            if why:
                raise NotBookable(why)
            row.state = Visit.State.CONFIRMED
            row.save(update_fields=["state"])
            OfferedTime.objects.filter(pk=one.pk).update(chosen_at=now)
            _close(visit, now)
    except (NotBookable, NoStart):
        OfferedTime.objects.filter(pk=one.pk, chosen_at=None).update(closed_at=now)
        raise NotBookable(_("That time has been given away meanwhile.")) from None
    return row


def decline(visit: Visit, now: datetime) -> bool:
    """None of them suits: somebody rings; whether the visit still waits for that."""
    waits = visit.state in WAITING and visit.day is None
    if waits:
        ids = list(open_times(visit, now).values_list("pk", flat=True))
        OfferedTime.objects.filter(pk__in=ids).update(closed_at=now, declined=True)
    return waits


def _close(visit: Visit, now: datetime) -> None:
    OfferedTime.objects.filter(visit=visit, chosen_at=None, closed_at=None).update(closed_at=now)
