"""A log without hours does not outweigh a meter that shows the filter loaded."""

import numpy as np
import pytest

from schedules.planning.facts import Settings
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.oddities import OddKind
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot

LOADED = [(20.0, 1.9 * CLEAN_PA), (5.0, 2.2 * CLEAN_PA)]


def told(
    readings: list[tuple[float, float]], hours: np.ndarray | float | None = 0.0, days_in: float = 60.0
) -> FleetForecast:
    return forecast(one_slot(hours=hours, readings=readings, days_in=days_in), Settings())


def kinds(result: FleetForecast) -> set[OddKind]:
    return {odd.kind for odd in result.odd}


@pytest.mark.parametrize("hours", [0.0, 0.1])
def test_a_log_without_hours_is_left_out_where_two_readings_stand_high(hours: float) -> None:
    result, without = told(LOADED, hours), told(LOADED, None)
    assert OddKind.IDLE_LOG in kinds(result)
    assert (result.due[0], result.p50[0]) == (without.due[0], without.p50[0])
    assert result.due[0] <= AS_OF
    assert result.drop_now_pa[0] > 1.7 * CLEAN_PA


@pytest.mark.parametrize(
    ("readings", "hours", "days_in"),
    [
        (LOADED[:1], 0.0, 60.0),
        ([(5.2, 2.2 * CLEAN_PA), (5.1, 2.2 * CLEAN_PA)], 0.0, 60.0),
        (LOADED, 6.0, 60.0),
        ([(2.0, 2.2 * CLEAN_PA), (1.0, 2.2 * CLEAN_PA)], 0.0, 4.0),
        ([(20.0, 1.1 * CLEAN_PA), (5.0, 1.0 * CLEAN_PA)], 0.0, 60.0),
    ],
    ids=["one reading", "one visit", "a fan that runs", "a fresh filter", "clean as it should be"],
)
def test_any_less_than_that_leaves_the_log_alone(
    readings: list[tuple[float, float]], hours: float, days_in: float
) -> None:
    result = told(readings, hours, days_in)
    assert OddKind.IDLE_LOG not in kinds(result)
    assert result.run_hours[0] == pytest.approx(hours * days_in, abs=1e-6)


def test_of_a_log_that_told_of_hours_before_only_the_idle_part_is_left_out() -> None:
    hours = np.where(np.arange(400) < 340, 16.0, 0.0)
    result = told(LOADED, hours)
    assert OddKind.IDLE_LOG in kinds(result)
    assert result.fan.ahead.mean() > 12.0
    assert result.scatter.unlogged[0] == 0.0
