"""Readings that the dates hardly believe are told; those that they follow are not."""

import numpy as np
import pytest

from schedules.planning.facts import Settings
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.oddities import OddKind
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot


def found(*readings: tuple[float, float], **slot: object) -> FleetForecast:
    """Readings as days ago and times the clean drop, of a filter that went in seven weeks ago."""
    told = [(ago, ratio * CLEAN_PA) for ago, ratio in readings]
    return forecast(one_slot(days_in=49.0, readings=told, **slot), Settings())


def kinds(result: FleetForecast) -> list[OddKind]:
    return [odd.kind for odd in result.odd]


@pytest.mark.parametrize("hours", [6.0, None])
def test_a_single_reading_that_no_usual_dust_gives_is_told_with_what_would_fit(hours: float | None) -> None:
    result = found((19.5, 3.0), hours=hours)
    assert kinds(result) == [OddKind.DOUBTED]
    (odd,) = result.odd
    assert odd.at == AS_OF + 1 - 19.5
    assert odd.seen_pa == pytest.approx(3.0 * CLEAN_PA)
    assert odd.beside_pa == pytest.approx(1.1 * CLEAN_PA, rel=0.1)


def test_a_second_one_like_it_is_believed_and_moves_the_date() -> None:
    once, twice = found((19.5, 3.0)), found((25.5, 3.0), (19.5, 3.2))
    assert kinds(twice) == []
    assert twice.due[0] < AS_OF < once.due[0]


@pytest.mark.parametrize("ratio", [1.0, 1.1, 1.3, 1.6])
def test_a_reading_that_the_date_follows_is_not_told(ratio: float) -> None:
    assert kinds(found((19.5, ratio))) == []


def test_a_hardly_believed_reading_never_makes_the_date_later_than_without_it() -> None:
    without = found().due[0]
    for ratio in np.arange(1.2, 8.0, 0.4):
        assert found((19.5, ratio)).due[0] <= without + 5


@pytest.mark.parametrize("ratio", [2.2, 4.4])
def test_two_of_one_visit_that_rise_are_told_and_two_days_apart_are_not(ratio: float) -> None:
    assert OddKind.APART in kinds(found((19.54, 1.3), (19.5, ratio)))
    assert OddKind.APART not in kinds(found((24.0, 1.3), (19.5, ratio)))
    assert OddKind.APART not in kinds(found((19.54, 1.3), (19.5, 1.4)))


def test_readings_of_lives_that_ended_are_left_alone() -> None:
    past = [(200.0, [(170.0, 6.0 * CLEAN_PA)])]
    assert kinds(forecast(one_slot(days_in=49.0, past=past), Settings())) == []
