"""How the desk is doing: each figure by branch and month, with what it counts.

Every figure is a sum over a number, both of which add up over branches and months; but what stands at the end
of a month is that month's alone.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import chain, groupby, pairwise
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from equipment.models import Desk, FilterSlot, Person, Site, SiteRole
from schedules import due
from schedules.branches import branches
from schedules.day_problem import NoStart, Place, start_of
from schedules.models import Defect, KeptDate, Policy, Technician, Visit, VisitJob
from schedules.planning.travel import estimate
from schedules.planning.windows import LEAST_EARLY_DAYS, WASTE
from schedules.visit_notices import told_by_visit
from shared import clock

MONTHS = 12
# A filter seen again so soon was not done right the first time.
AGAIN_DAYS = 30
# Between two homes nobody drives longer; it was a pause.
LONGEST_WAY = timedelta(minutes=90)


@dataclass(frozen=True)
class Figure:
    """A figure's name, what it counts, and how it is written: ``share`` in %, ``days``, ``minutes``,
    ``count``, which is the sum itself, ``standing``, the same as it stood when a month ended, and ``most``,
    days of the worst; the last two are not summed over months."""

    key: str
    title: Promise | str
    definition: Promise | str
    kind: str


FIGURES = (
    Figure(
        "on_time",
        _("Changed in their window"),
        _("Of the filters changed that had a date: changed no later than its last day, and no earlier than "
          "15 % of their time in the slot, at least a week, before it."),
        "share",
    ),
    Figure(
        "days_late",
        _("Days after the date"),
        _("Mean of the day of the change less the date that was given last; below nought is early."),
        "days",
    ),
    Figure(
        "first_time",
        _("Right filter first time"),
        _("Of the filters that a technician came for: changed on that visit, none of another size found in "
          "there, and not seen again for 30 days."),
        "share",
    ),
    Figure(
        "kept_hours",
        _("Came when told"),
        _("Of the completed visits whose household had been told a day, or hours, and where the door was "
          "noted: arrived on that day, within those hours."),
        "share",
    ),
    Figure(
        "no_access",
        _("Nobody opened"),
        _("Of the visits that came to a home: those at which nobody opened."),
        "share",
    ),
    Figure(
        "driving",
        _("Minutes driven a completed visit"),
        _("All minutes on the road over the completed visits of the same rounds, the two parts below "
          "together; the minutes of a round are shared alike by its stops; rounds without a start, or with a "
          "home without a position, are left out."),
        "minutes",
    ),
    Figure(
        "driving_noted",
        _("… of these, noted at the doors"),
        _("From leaving one home to the door of the next, over the same visits; a gap of more than an hour "
          "and a half was a pause."),
        "minutes",
    ),
    Figure(
        "driving_reckoned",
        _("… of these, reckoned"),
        _("From the start and back to it, which nobody notes, and between homes where nobody noted: by "
          "roads at the usual speed, over the same visits."),
        "minutes",
    ),
    Figure(
        "opt_outs",
        _("Stopped a kind of letter"),
        _("How often somebody stopped letters about filters, visits or what was done."),
        "count",
    ),
    Figure(
        "past_date",
        _("Past their date"),
        _("Filters whose date, as it was given last, was over at the end of the month and that nobody had "
          "changed; in the present month as of today."),
        "standing",
    ),
    Figure(
        "oldest",
        _("The oldest of them"),
        _("Days that the one longest past its date was past it then."),
        "most",
    ),
)  # fmt: skip


def value_of(figure: Figure, tally: "Tally") -> float | None:
    """What is told of a figure: of the worst its days, of a count its sum, else sum over number; None where
    there is nothing to divide by."""
    if figure.kind == "most":
        return tally.most
    return tally.amount if figure.kind in ("count", "standing") else tally.value


STANDING = {figure.key for figure in FIGURES if figure.kind in ("standing", "most")}


@dataclass(frozen=True)
class Counted:
    """So much of a figure on a local day at a site."""

    figure: str
    site: int
    on: date
    amount: float
    of: float = 1.0

    @property
    def most(self) -> float:
        """Of one it is the amount."""
        return self.amount


@dataclass
class Tally:
    """Sum and number; ``value`` is None where there is nothing to divide by."""

    amount: float = 0.0
    of: float = 0.0
    most: float = 0.0

    def add(self, other: "Counted | Tally") -> None:
        """Count another in."""
        self.most = max(self.most, other.most)
        self.amount += other.amount
        self.of += other.of

    @property
    def value(self) -> float | None:
        """Sum over number."""
        return self.amount / self.of if self.of else None


@dataclass
class Table:
    """Tallies by figure, branch key (nought: all is one branch) and first day of the month."""

    months: list[date]
    branches: list[tuple[int, str]]
    cells: dict[tuple[str, int, date], Tally] = field(default_factory=lambda: defaultdict(Tally))

    def of(self, figure: str, month: date | None, branch: int | None = None) -> Tally:
        """The tally of a figure; ``month`` and ``branch`` None for all of them, and of what only stands the
        present month."""
        whole = Tally()
        if figure in STANDING and month is None:
            month = self.months[-1]
        for (name, where, when), tally in self.cells.items():
            if name == figure and month in (None, when) and branch in (None, where):
                whole.add(tally)
        return whole


def table(now: datetime) -> Table:
    """The figures of the last twelve months, this one included; a fixed number of queries."""
    months = _months(due.today(now))
    where, counted = branches(Desk.the()), list(_counted(months[0], now))
    of_site = where.of_sites({one.site for one in counted})
    told = Table(months, list(zip(where.pks, where.names, strict=True)))
    for one in counted:
        month = one.on.replace(day=1)
        if month in months:
            told.cells[one.figure, where.pks[of_site[one.site]], month].add(one)
    return told


def _months(today: date) -> list[date]:
    found = [today.replace(day=1)]
    while len(found) < MONTHS:
        found.append((found[-1] - timedelta(days=1)).replace(day=1))
    return found[::-1]


def _counted(since: date, now: datetime) -> Iterator[Counted]:
    zone = Desk.the().zone
    yield from _dates(since)
    visits = list(_ended(since, now))
    yield from _doors(visits, zone)
    yield from _promises(visits, zone)
    yield from _ways(visits, zone)
    yield from _first_time(visits, zone)
    yield from _stops(since, now, zone)
    yield from _past_their_date(since, now)


def _dates(since: date) -> Iterator[Counted]:
    rows = KeptDate.objects.filter(ended_on__gte=since)
    told = rows.values_list("slot__system__site", "began_on", "due_on", "ended_on")
    for site, began, due_on, ended in told.iterator():
        early = max(LEAST_EARLY_DAYS, round(WASTE * (due_on - began).days))
        kept = due_on - timedelta(days=early) <= ended <= due_on
        yield Counted("on_time", site, ended, float(kept))
        yield Counted("days_late", site, ended, float((ended - due_on).days))


def _ended(since: date, now: datetime) -> "Iterable[Visit]":
    """Visits that came to a home, by technician and hour."""
    begin = now - timedelta(days=(due.today(now) - since).days + AGAIN_DAYS + 1)
    states = (Visit.State.COMPLETED, Visit.State.NO_ACCESS)
    rows = Visit.objects.filter(state__in=states, completed_at__range=(begin, now))
    return rows.only("site", "technician", "state", "day", "arrived_at", "completed_at").order_by(
        "technician", "completed_at"
    )


def _on(visit: Visit, zone: ZoneInfo) -> date:
    assert visit.completed_at is not None  # noqa: S101
    return clock.local_day(visit.completed_at, zone)


def _doors(visits: list[Visit], zone: ZoneInfo) -> Iterator[Counted]:
    for visit in visits:
        shut = visit.state == Visit.State.NO_ACCESS
        yield Counted("no_access", visit.site_id, _on(visit, zone), float(shut))


def _promises(visits: list[Visit], zone: ZoneInfo) -> Iterator[Counted]:
    """What each household was told last, beside when somebody came."""
    came = [visit for visit in visits if visit.state == Visit.State.COMPLETED and visit.arrived_at]
    told = told_by_visit({visit.pk for visit in came})
    for visit in came:
        promise, at = told.get(visit.pk), visit.arrived_at
        if promise is None or not promise.coming or promise.day is None or at is None:
            continue
        on_day = clock.local_day(at, zone) == promise.day
        first, last = promise.first or at, promise.last or at
        yield Counted("kept_hours", visit.site_id, _on(visit, zone), float(on_day and first <= at <= last))


def _rounds(visits: list[Visit], zone: ZoneInfo) -> Iterator[list[Visit]]:
    """The visits of each technician on each day, in the order in which they ended."""
    driven = (visit for visit in visits if visit.technician_id)
    for _round, stops in groupby(driven, lambda one: (one.technician_id, _on(one, zone))):
        yield list(stops)


def _ways(visits: list[Visit], zone: ZoneInfo) -> Iterator[Counted]:
    """Minutes on the road of each round, shared alike by its stops."""
    places, starts, policy = _places(), _starts(), Policy.the()
    for stops in _rounds(visits, zone):
        start = starts.get(stops[0].technician_id or 0)
        homes = [places.get(visit.site_id) for visit in stops]
        if start is None or None in homes:
            continue
        north, east = np.array([start, *homes], dtype=np.float64).T
        seconds, _metres = estimate(
            north, east, road_factor=policy.road_factor, speed_ms=policy.road_speed_ms
        )
        minutes = policy.way_factor * seconds / 60
        noted, reckoned = 0.0, float(minutes[0, 1] + minutes[len(stops), 0])
        for at, (left, reached) in enumerate(pairwise(stops), start=1):
            took = _noted(left, reached)
            noted += took or 0.0
            reckoned += float(minutes[at, at + 1]) if took is None else 0.0
        on = _on(stops[0], zone)
        told = {"driving": noted + reckoned, "driving_noted": noted, "driving_reckoned": reckoned}
        for visit in stops:
            done = float(visit.state == Visit.State.COMPLETED)
            for key, amount in told.items():
                yield Counted(key, visit.site_id, on, amount / len(stops), done)


def _noted(left: Visit, reached: Visit) -> float | None:
    """Minutes from one home to the next as noted at the doors, None where nobody did."""
    if left.completed_at is None or reached.arrived_at is None:
        return None
    took = reached.arrived_at - left.completed_at
    return took.total_seconds() / 60 if timedelta(0) <= took <= LONGEST_WAY else None


def _places() -> dict[int, Place]:
    rows = Site.objects.values_list("pk", "latitude", "longitude")
    return {pk: (north, east) for pk, north, east in rows if north is not None and east is not None}


def _starts() -> dict[int, Place]:
    desk, found = Desk.the(), {}
    for who in Technician.objects.select_related("depot"):
        with suppress(NoStart):
            found[who.pk] = start_of(who, desk)
    return found


def _first_time(visits: list[Visit], zone: ZoneInfo) -> Iterator[Counted]:
    done = {visit.pk: visit for visit in visits if visit.state == Visit.State.COMPLETED}
    odd = Defect.objects.filter(visit__in=done, kind=Defect.Kind.WRONG_SIZE)
    wrong = set(odd.values_list("visit", flat=True))
    jobs = VisitJob.objects.filter(visit__in=done, slot__isnull=False)
    rows = sorted(
        (slot, _on(done[visit], zone), visit, changed is True)
        for slot, visit, changed in jobs.values_list("slot", "visit", "done")
    )
    counted = [
        row for _slot, some in groupby(rows, lambda row: row[0]) for row in _once_in_a_while(list(some))
    ]
    # One filter of another size spoils one filter of its visit: the one that failed anyway, if one did.
    wrong -= {visit for _on, visit, right in counted if not right}
    for on, visit, right in counted:
        spoilt = visit in wrong
        wrong.discard(visit)
        yield Counted("first_time", done[visit].site_id, on, float(right and not spoilt))


def _once_in_a_while(seen: list[tuple[int, date, int, bool]]) -> Iterator[tuple[date, int, bool]]:
    """Of a filter's jobs those that follow none by some days: day, visit, whether it was changed and nobody
    had to come again."""
    for place, (_slot, on, visit, changed) in enumerate(seen):
        if place and (on - seen[place - 1][1]).days <= AGAIN_DAYS:
            continue
        again = place + 1 < len(seen) and (seen[place + 1][1] - on).days <= AGAIN_DAYS
        yield on, visit, changed and not again


_KINDS = ("wants_filter_mail", "wants_visit_mail", "wants_record_mail")


def _stops(since: date, now: datetime, zone: ZoneInfo) -> Iterator[Counted]:
    """Each time that a kind of letter was wanted and then no more, by the history of the person."""
    begin = now - timedelta(days=(due.today(now) - since).days + 1)
    moved = Person.history.filter(history_date__range=(begin, now)).values("id")
    rows = Person.history.filter(id__in=moved, history_date__lte=now).order_by("id", "history_date")
    homes = dict(SiteRole.objects.filter(person__in=moved).order_by("-pk").values_list("person", "site"))
    told = rows.values_list("id", "history_date", *_KINDS)
    for person, some in groupby(told, lambda row: row[0]):
        for before, after in pairwise(some):
            stopped = sum(had and not has for had, has in zip(before[2:], after[2:], strict=True))
            if stopped and person in homes and after[1] >= begin:
                yield Counted("opt_outs", homes[person], clock.local_day(after[1], zone), float(stopped), 0.0)


def _past_their_date(since: date, now: datetime) -> Iterator[Counted]:
    """Filters past their date at the end of each month, by the dates that ended since and that stand."""
    today = due.today(now)
    ends = [(month + timedelta(days=31)).replace(day=1) for month in _months(today)]
    ends[-1] = today
    kept = KeptDate.objects.filter(ended_on__gte=since)
    stands = _overdue(now).values_list("system__site", "plan__due_on")
    rows = chain(
        kept.values_list("slot__system__site", "due_on", "ended_on").iterator(),
        ((site, on, None) for site, on in stands),
    )
    for site, due_on, ended in rows:
        for end in ends:
            if due_on and due_on < end and (ended is None or ended >= end):
                day = end if end == today else end - timedelta(days=1)
                yield Counted("past_date", site, day, 1.0, 0.0)
                yield Counted("oldest", site, day, float((end - due_on).days), 0.0)


@dataclass(frozen=True)
class Oldest:
    """The filter longest past its date, and how many are past theirs."""

    slot: FilterSlot | None
    days: int
    count: int


def _overdue(now: datetime) -> "QuerySet[FilterSlot]":
    late = FilterSlot.objects.in_use().filter(plan__due_on__lt=due.today(now))
    return late.filter(system__site__vacant_since=None)


def oldest(now: datetime, branch: int | None = None) -> Oldest:
    """Of the filters in use, of all branches or of one by its depot's key."""
    rows = _overdue(now).select_related("plan", "system__site__customer").order_by("plan__due_on", "pk")
    if branch is not None:
        where = branches(Desk.the())
        told = where.of_sites(rows.values_list("system__site", flat=True))
        mine = {site for site, place in told.items() if where.pks[place] == branch}
        rows = rows.filter(system__site__in=mine)
    slot = rows.first()
    due_on = slot.plan.due_on if slot else None
    days = (due.today(now) - due_on).days if due_on else 0
    return Oldest(slot, days, rows.count())
