"""The life of one filter as a line with its band, for the drawing."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.chance import Dose, pace
from schedules.planning.facts import FleetFacts
from schedules.planning.forecast import FleetForecast
from schedules.planning.loading import HIGHEST_PA

MOST_POINTS = 60


@dataclass(frozen=True)
class LifePath:
    """``days`` as instants (ordinals with fraction) and drops in Pa at 10, 50 and 90 %."""

    days: FloatArray
    low: FloatArray
    middle: FloatArray
    high: FloatArray


def life_path(facts: FleetFacts, result: FleetForecast, place: int, last_day: int) -> LifePath:
    """Path of slot ``place`` from the day its filter went in to ``last_day`` (an ordinal)."""
    end = facts.as_of + 1.0
    began = float(facts.slots.began[place])
    # Not further than some two years ahead, or a slow filter's today is lost in the corner.
    last = float(np.clip(last_day + 1.0, end + 30, end + 800))
    days = np.unique(
        np.concatenate([np.linspace(began, end, MOST_POINTS // 2), np.linspace(end, last, MOST_POINTS // 2)])
    )
    past = days <= end
    system = np.full(int(past.sum()), facts.slots.system[place])
    hours = result.fan.laden_until(system, days[past])
    earlier = result.used_m[place] - _between(result, facts, place, began, end)
    passed = earlier + (hours - hours[0]) * 3600 * result.velocity_ms[place]
    coming = np.rint(days[~past] - end).astype(np.int64)
    ratios = np.concatenate([_so_far(result, place, passed), _to_come(result, place, coming)], axis=1)
    low, middle, high = np.minimum(ratios * facts.slots.clean_pa[place], HIGHEST_PA)
    return LifePath(days, low, middle, high)


def _so_far(result: FleetForecast, place: int, passed_m: FloatArray) -> FloatArray:
    one = result.learned.of(np.full(len(passed_m), place))
    return _ratios(pace(one, passed_m).present)


def _to_come(result: FleetForecast, place: int, days: IntArray) -> FloatArray:
    rows = np.full(len(days), place)
    loading = pace(result.learned.of(rows), result.used_m[rows])
    exposure = result.ahead.of(np.array([place])).until(days[None, :])[0]
    return _ratios(loading.after(exposure, result.scatter.over(days, rows), slice(None)))


def _ratios(dose: Dose) -> FloatArray:
    """Of drop to clean drop at 10, 50 and 90 %, [3, points]."""
    return np.stack([dose.ratio(chance) for chance in (0.1, 0.5, 0.9)])


def _between(result: FleetForecast, facts: FleetFacts, place: int, began: float, end: float) -> float:
    system = np.full(2, facts.slots.system[place])
    hours = result.fan.laden_until(system, np.array([began, end]))
    return float((hours[1] - hours[0]) * 3600 * result.velocity_ms[place])
