"""The life of one filter as a line with its band, for the drawing."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray
from schedules.planning.facts import FleetFacts
from schedules.planning.forecast import FleetForecast
from schedules.planning.interval import spread_after
from schedules.planning.loading import SHAPES, growth

# Five points of a normal variable, their weights: Gauss and Hermite's rule for the weather to come.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
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
    # Not further than three lives so far ahead, or a slow filter's today is lost in the corner.
    last = float(np.clip(last_day + 1.0, end + 30, end + 800))
    days = np.unique(
        np.concatenate([np.linspace(began, end, MOST_POINTS // 2), np.linspace(end, last, MOST_POINTS // 2)])
    )
    past = days <= end
    exposure = np.empty_like(days)
    system = np.full(int(past.sum()), facts.slots.system[place])
    hours = result.fan.laden_until(system, days[past])
    earlier = result.used_m[place] - _between(result, facts, place, began, end)
    exposure[past] = earlier + (hours - hours[0]) * 3600 * result.velocity_ms[place]
    coming = np.rint(days[~past] - end).astype(np.int64)
    to_come = result.ahead.of(np.array([place])).until(coming[None, :])[0]
    exposure[~past] = result.used_m[place]
    has_log = np.full(len(coming), result.has_log[place])
    spread = spread_after(coming.astype(np.float64), has_log)
    extra = np.zeros((len(days), len(_NODES)))
    extra[~past] = to_come[:, None] * np.exp(spread[:, None] * _NODES)
    low, middle, high = _quantiles(result, place, exposure, extra)
    clean = facts.slots.clean_pa[place]
    return LifePath(days, low * clean, middle * clean, high * clean)


def _between(result: FleetForecast, facts: FleetFacts, place: int, began: float, end: float) -> float:
    system = np.full(2, facts.slots.system[place])
    hours = result.fan.laden_until(system, np.array([began, end]))
    return float((hours[1] - hours[0]) * 3600 * result.velocity_ms[place])


def _quantiles(
    result: FleetForecast, place: int, exposure: FloatArray, extra: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    supposed = result.supposed
    so_far = np.exp(supposed.so_far[place])[None, :, :, None] * exposure[:, None, None, None]
    to_come = np.exp(supposed.to_come[place])[None, :, :, None] * extra[:, None, None, :]
    ratio = growth(so_far + to_come, SHAPES[None, :, None, None]).reshape(len(exposure), -1)
    weight = (supposed.weight[place][:, :, None] * (_WEIGHTS / _WEIGHTS.sum())).ravel()
    order = np.argsort(ratio, axis=1)
    running = np.cumsum(weight[order], axis=1)
    ranked = np.take_along_axis(ratio, order, axis=1)

    def at(chance: float) -> FloatArray:
        column = np.minimum((running < chance).sum(axis=1), ratio.shape[1] - 1)
        return np.asarray(ranked[np.arange(len(exposure)), column])

    return at(0.1), at(0.5), at(0.9)
