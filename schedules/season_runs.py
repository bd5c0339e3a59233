"""Plans of a season from asking to the last week: worked out behind the pages, watched, stopped."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from schedules import due
from schedules.background_runs import NotPlannable, claim, give_up_lost
from schedules.models import SeasonPlan, SeasonTrip
from schedules.planning.arrays import IntArray
from schedules.rounds import Trip
from schedules.season_plan import Season, gather
from schedules.season_routes import Placed, WeekDone, dealt_weeks, work_out

FEWEST_WEEKS, MOST_WEEKS = 4, 26
SECONDS = (5, 10, 30)
# Windows are known some months ahead.
FARTHEST = timedelta(weeks=26)
# What is known changes every day; plans follow it once a week.
AGAIN_AFTER = timedelta(days=7)
State = SeasonPlan.State


def next_monday(today: date) -> date:
    """The first Monday after today."""
    return today + timedelta(days=7 - today.weekday())


def ask_for(plan: SeasonPlan, now: datetime) -> SeasonPlan:
    """Queue the plan. Raises NotPlannable for weeks that cannot be, and while another is worked out."""
    today = due.today(now)
    if plan.first_day.weekday() != 0 or not today < plan.first_day <= today + FARTHEST:
        raise NotPlannable(_("A season begins on a Monday to come, within half a year."))
    if not FEWEST_WEEKS <= plan.weeks <= MOST_WEEKS:
        said = {"few": FEWEST_WEEKS, "many": MOST_WEEKS}
        raise NotPlannable(_("A season has from %(few)d to %(many)d weeks.") % said)
    if plan.seconds not in SECONDS:
        raise NotPlannable(_("That is no time to search for."))
    if SeasonPlan.objects.filter(state__in=(State.WAITING, State.RUNNING)).exists():
        raise NotPlannable(_("Another season is being worked out; wait for it or stop it."))
    plan.asked_at = now
    plan.save()
    return plan


def ask_again(now: datetime) -> SeasonPlan | None:
    """Ask for the season anew, as long and as thorough as the last one, a week after that was asked for; None
    where nobody ever asked, where the last is younger, failed or was stopped, or another is worked out."""
    last = SeasonPlan.objects.order_by("-pk").first()
    if last is None or last.state != State.READY or now - last.asked_at < AGAIN_AFTER:
        return None
    today = due.today(now)
    plan = SeasonPlan(
        first_day=next_monday(today), weeks=last.weeks, seconds=last.seconds, asked_by=last.asked_by
    )
    return ask_for(plan, now)


def run_waiting(now: datetime) -> int:
    """Work out the plans that wait, one after another, and give up those whose worker was lost; how many."""
    give_up_lost(SeasonPlan, now)
    count = 0
    while (plan := claim(SeasonPlan, now)) is not None:
        _run(plan)
        count += 1
    return count


def _run(plan: SeasonPlan) -> None:
    row = SeasonPlan.objects.filter(pk=plan.pk, state=State.RUNNING)

    def tell(share: float) -> bool:
        # Whoever gave it up meanwhile wants no more of it either.
        heard = row.update(progress=share, heard_at=timezone.now())
        return not heard or not row.filter(stop_asked=False).exists()

    try:
        now = timezone.now()
        season = gather(plan, now, due.today(now))
        tell(0.0)
        book = Book(season, dealt_weeks(season))
        tell(0.0)
        for one in work_out(season, book.week, plan.seconds, tell, due.today(now)):
            book.note(one)
            _keep(plan, book.rows_of(one), book)
        _keep(plan, book.rest(), book)
    except Exception as error:
        row.update(state=State.FAILED, ended_at=timezone.now(), why=f"{type(error).__name__}: {error}")
        raise
    state = State.READY if len(book.done) == plan.weeks else State.STOPPED
    row.update(state=state, ended_at=timezone.now(), progress=1.0)


def _keep(plan: SeasonPlan, rows: list[SeasonTrip], book: "Book") -> None:
    with transaction.atomic():
        if SeasonPlan.objects.filter(pk=plan.pk, state=State.RUNNING).update(told=book.told()):
            SeasonTrip.objects.bulk_create(rows, batch_size=500)


@dataclass
class Book:
    """What has become of every trip so far: ``week`` [t] is the one dealt, or the one that has it now."""

    season: Season
    week: IntArray
    done: list[WeekDone] = field(default_factory=list)
    placed: dict[int, Placed] = field(default_factory=dict)
    # Where a trip first found no place, and why.
    first_left: dict[int, tuple[int, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.now = self.week.copy()

    def note(self, one: WeekDone) -> None:
        """Write a week down."""
        self.done.append(one)
        for place in one.placed:
            self.placed[place.trip] = place
            self.now[place.trip] = one.week
            self.first_left.pop(place.trip, None)
        for number, why in one.left.items():
            self.first_left.setdefault(number, (one.week, why))

    def rows_of(self, one: WeekDone) -> list[SeasonTrip]:
        """The trips that a week's rounds have."""
        return [
            self._row(self.season.trips[place.trip], one.week, place, self._before(place.trip))
            for place in one.placed
        ]

    def rest(self) -> list[SeasonTrip]:
        """All others of the season's weeks, without a day."""
        numbers = np.flatnonzero(self.week < self.season.plan.weeks).tolist()
        return [
            self._row(self.season.trips[number], int(self.now[number]), None, self._before(number))
            for number in numbers
            if number not in self.placed
        ] + [self._row(lost.trip, lost.week, None, None) for lost in self.season.lost]

    def told(self) -> list[dict[str, Any]]:
        """A row a week as plain values: minutes, homes, what found no place, what moved."""
        return [self._told(week) for week in range(self.season.plan.weeks)]

    def _told(self, week: int) -> dict[str, Any]:
        season, one = self.season, self.done[week] if week < len(self.done) else None
        # What the plan before had in this week.
        had = season.dealt.before == week
        stayed = int((had & (self.now == week)).sum())
        return {
            "monday": season.monday(week).isoformat(),
            "done": one is not None,
            "homes": len(one.placed) if one else int((self.now == week).sum()),
            "home_minutes": sum(season.trips[place.trip].minutes for place in one.placed) if one else 0,
            "road_minutes": round(one.road_minutes) if one else 0,
            "there_minutes": round(one.there_minutes) if one else 0,
            "dealt_minutes": round(float(season.hours[:, week].sum())),
            "late": sum(place.day > _best_by(season.trips[place.trip]) for place in one.placed) if one else 0,
            "overdue": sum(season.trips[place.trip].late_since is not None for place in one.placed)
            if one
            else 0,
            "proved": self._proved(week) if one else {},
            "left": self._left(week),
            "stayed": stayed,
            "moved": int(had.sum()) - stayed,
            "reckoned": one.reckoned if one else "",
        }

    def _proved(self, week: int) -> dict[str, float]:
        """By branch the share of its hours that the week's rounds held where they had to leave some for later
        weeks, or did in the plan before."""
        season, dealt = self.season, self.season.dealt
        here = (self.week <= week) & (self.now > week)
        placed = np.zeros(len(season.trips), dtype=np.bool_)
        placed[list(self.placed)] = True
        found = {}
        for branch, name in enumerate(season.branches):
            mine, there = dealt.branch == branch, season.hours[branch, week]
            full = (here & mine & placed).any()
            if there > 0 and (full or season.proved[branch, week] < 1.0):
                held = dealt.minutes[mine & placed & (self.now == week)].sum() / there
                known = 0.0 if full else season.proved[branch, week]
                found[name] = round(float(max(held, known)), 4)
        return found

    def _left(self, week: int) -> list[dict[str, Any]]:
        found = [
            (self.season.trips[number], why) for number, (at, why) in self.first_left.items() if at == week
        ]
        found += [(lost.trip, lost.why) for lost in self.season.lost if lost.week == week]
        return [
            {"site": trip.site.pk, "home": trip.site.address or trip.site.name, "why": why}
            for trip, why in found
        ]

    def _before(self, number: int) -> date | None:
        week = int(self.season.dealt.before[number])
        return None if week < 0 else self.season.monday(week)

    def _row(self, trip: Trip, week: int, place: Placed | None, before: date | None) -> SeasonTrip:
        return SeasonTrip(
            plan=self.season.plan,
            site=trip.site,
            visit=trip.visit,
            week=week,
            day=place.day if place else None,
            technician_id=place.technician if place else None,
            minutes=trip.minutes,
            first_day=trip.window.first,
            last_day=_best_by(trip),
            before=before,
        )


def _best_by(trip: Trip) -> date:
    """The last day that would have done, which is past where it is overdue already."""
    return trip.late_since or trip.window.last
