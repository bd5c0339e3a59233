"""How the desk is doing: each figure by branch and month, with what it counts.

Every figure is a sum over a number, both of which add up over branches and months.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import groupby, pairwise
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from equipment.models import Desk, FilterSlot, Person, Site, SiteRole
from schedules import due
from schedules.branches import branches
from schedules.day_problem import NoStart, start_of
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
    """A figure's name, what it counts, and how it is written: ``share`` in %, ``days``, ``minutes`` or
    ``count``, which is the sum itself."""

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
        _("Minutes driven a visit"),
        _("Minutes from leaving one home to the door of the next on the same day, as noted at the doors, "
          "over the completed visits that were driven to so; ways from and to the start stand by themselves, "
          "and gaps of more than an hour and a half were pauses."),
        "minutes",
    ),
    Figure(
        "depot_ways",
        _("From and to the start a visit"),
        _("Minutes from where each round starts to its first home and back from its last, reckoned by roads "
          "at the usual speed because nobody notes them, over the completed visits of these rounds; rounds "
          "without a start or a position are left out."),
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
        _("Past their date now"),
        _("Filters in use whose day is over, as of today; they stand in the present month."),
        "count",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Counted:
    """So much of a figure on a local day at a site."""

    figure: str
    site: int
    on: date
    amount: float
    of: float = 1.0


@dataclass
class Tally:
    """Sum and number; ``value`` is None where there is nothing to divide by."""

    amount: float = 0.0
    of: float = 0.0

    def add(self, other: "Counted | Tally") -> None:
        """Count another in."""
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
        """The tally of a figure; ``month`` and ``branch`` None for all of them."""
        whole = Tally()
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
    yield from _depot_ways(visits, zone)
    yield from _first_time(visits, zone)
    yield from _stops(since, now, zone)
    for site in _overdue(now).values_list("system__site", flat=True):
        yield Counted("past_date", site, due.today(now), 1.0, 0.0)


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
    for stops in _rounds(visits, zone):
        for left, reached in pairwise(stops):
            if left.completed_at is None or reached.arrived_at is None:
                continue
            took = reached.arrived_at - left.completed_at
            if timedelta(0) <= took <= LONGEST_WAY:
                over = float(reached.state == Visit.State.COMPLETED)
                yield Counted("driving", reached.site_id, _on(reached, zone), took.total_seconds() / 60, over)


def _depot_ways(visits: list[Visit], zone: ZoneInfo) -> Iterator[Counted]:
    """The ways out and home, by the round's first home."""
    policy, desk = Policy.the(), Desk.the()
    place = {
        pk: (north, east)
        for pk, north, east in Site.objects.filter(
            latitude__isnull=False, longitude__isnull=False
        ).values_list("pk", "latitude", "longitude")
    }
    starts = {}
    for who in Technician.objects.select_related("depot"):
        with suppress(NoStart):
            starts[who.pk] = start_of(who, desk)
    for stops in _rounds(visits, zone):
        start = starts.get(stops[0].technician_id or 0)
        ends = [place.get(stops[at].site_id) for at in (0, -1)]
        if start is None or None in ends:
            continue
        north, east = np.array([start, *ends], dtype=np.float64).T
        seconds, _metres = estimate(
            north, east, road_factor=policy.road_factor, speed_ms=policy.road_speed_ms
        )
        minutes = policy.way_factor * float(seconds[0, 1] + seconds[2, 0]) / 60
        done = sum(visit.state == Visit.State.COMPLETED for visit in stops)
        yield Counted("depot_ways", stops[0].site_id, _on(stops[0], zone), minutes, float(done))


def _first_time(visits: list[Visit], zone: ZoneInfo) -> Iterator[Counted]:
    done = {visit.pk: visit for visit in visits if visit.state == Visit.State.COMPLETED}
    odd = Defect.objects.filter(visit__in=done, kind=Defect.Kind.WRONG_SIZE)
    wrong = set(odd.values_list("visit", flat=True))
    jobs = VisitJob.objects.filter(visit__in=done, slot__isnull=False)
    rows = sorted(
        (slot, _on(done[visit], zone), visit, changed is True)
        for slot, visit, changed in jobs.values_list("slot", "visit", "done")
    )
    for _slot, some in groupby(rows, lambda row: row[0]):
        seen = list(some)
        for place, (_slot, on, visit, changed) in enumerate(seen):
            if place and (on - seen[place - 1][1]).days <= AGAIN_DAYS:
                continue
            again = place + 1 < len(seen) and (seen[place + 1][1] - on).days <= AGAIN_DAYS
            of_another_size = visit in wrong
            # One filter of another size spoils one filter of its visit.
            wrong.discard(visit)
            yield Counted(
                "first_time", done[visit].site_id, on, float(changed and not of_another_size and not again)
            )


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
