"""A week of a season's plan as rounds: the homes that were dealt to it, and what cannot wait longer."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from schedules import rounds
from schedules.models import RoundPlan, SeasonPlan
from schedules.planning.windows import DueWindow
from schedules.rounds import Trip


def trips_for(plan: RoundPlan, today: date) -> list[Trip]:
    """The trips of a plan of rounds: all that are to be had, or, of a season's week, those dealt to it, what
    is booked or asked for, and what would be late after it."""
    every = rounds.trips_of(plan, today)
    return every if plan.season is None else list(_of_season(plan, plan.season, every))


def _of_season(plan: RoundPlan, season: SeasonPlan, every: Sequence[Trip]) -> list[Trip]:
    weeks = range(
        (plan.first_day - season.first_day).days // 7, (plan.last_day - season.first_day).days // 7 + 1
    )
    dealt = set(season.trips.filter(week__in=weeks).values_list("site", flat=True))
    mine = [in_days(trip, plan.first_day, plan.last_day) for trip in every if trip.site.pk in dealt]
    later = set(season.trips.exclude(week__in=weeks).values_list("site", flat=True))
    # What is late already and has another week in the plan keeps it.
    others = [
        trip
        for trip in every
        if trip.site.pk not in dealt and not (trip.late_since is not None and trip.site.pk in later)
    ]
    return mine + [trip for trip in others if trip.visit is not None or trip.window.last <= plan.last_day]


def in_days(trip: Trip, first_day: date, last_day: date) -> Trip:
    """The trip as one of these days: it must be made, on a day of its window, on any where none is left or it
    is late already."""
    first, last = max(trip.window.first, first_day), min(trip.window.last, last_day)
    if first > last or trip.late_since is not None:
        first, last = first_day, last_day
    return replace(trip, window=DueWindow(first, last))
