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
    without, once, twice = found(), found((19.5, 3.0)), found((25.5, 3.0), (19.5, 3.2))
    assert kinds(twice) == []
    assert twice.due[0] < once.due[0] < without.due[0]
    # One alone leaves it open whether the limit is passed; two do not.
    assert 0.2 < once.where.past[0] < 0.9 < twice.where.past[0]
    assert once.p90[0] > twice.p90[0]


def test_the_higher_a_reading_the_sooner_the_date() -> None:
    days = [int(found((0.5, ratio)).due[0]) for ratio in np.arange(1.0, 6.0, 0.1)]
    assert (np.diff(days) <= 1).all()
    assert days[0] > AS_OF + 100 > AS_OF > days[-1]


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


def test_two_of_one_visit_that_contradict_each_other_give_a_wide_span_and_no_jump() -> None:
    pairs = [found((19.54, 2.4), (19.5, ratio)) for ratio in np.arange(0.7, 2.4, 0.02)]
    apart = [OddKind.APART in kinds(result) for result in pairs]
    assert apart[0]
    assert not apart[-1]
    assert all(not {OddKind.JUMP, OddKind.DIP, OddKind.FALL} & set(kinds(result)) for result in pairs)
    due = np.array([int(result.due[0]) for result in pairs])
    assert np.abs(np.diff(due)).max() <= 20
    # Either may be right: the span reaches from what one says to what the other says.
    low, high, both = found((19.5, 1.0)), found((19.5, 2.4)), found((19.54, 2.4), (19.5, 1.0))
    assert high.p10[0] <= both.p10[0] < low.p10[0]
    assert both.p90[0] - both.p10[0] > 250


def test_readings_of_lives_that_ended_are_left_alone() -> None:
    past = [(200.0, [(170.0, 6.0 * CLEAN_PA)])]
    assert kinds(forecast(one_slot(days_in=49.0, past=past), Settings())) == []


def read_off(factor: float, times: int = 8) -> FleetForecast:
    """Lives that load alike, each read ``times`` from fresh to nearly full, all ``factor`` off the label."""

    def of(began: float) -> list[tuple[float, float]]:
        ages = np.linspace(1.0, 80.0, times)
        return [(began - age, factor * CLEAN_PA * (1.0 + (age / 90.0) ** 1.4)) for age in ages]

    past = [(began, of(began)) for began in (300.0, 200.0) if times > 1]
    return forecast(one_slot(days_in=82.0, readings=of(82.0), past=past), Settings())


@pytest.mark.parametrize(
    ("factor", "kind"), [(1.22, [OddKind.ABOVE_LABEL]), (0.78, [OddKind.BELOW_LABEL]), (1.0, []), (1.06, [])]
)
def test_a_slot_that_reads_off_its_label_at_every_age_is_told_once(
    factor: float, kind: list[OddKind]
) -> None:
    result = read_off(factor)
    assert kinds(result) == kind
    for odd in result.odd:
        assert odd.at == AS_OF + 1 - 2.0
        assert odd.beside_pa == pytest.approx(CLEAN_PA * (1 + (80 / 90) ** 1.4), rel=0.1)
        assert odd.seen_pa == pytest.approx(factor * CLEAN_PA * (1 + (80 / 90) ** 1.4))


def test_a_label_that_is_off_moves_the_date_by_little() -> None:
    days = [int(read_off(factor).p50[0]) - AS_OF for factor in (0.85, 1.0, 1.18)]
    assert np.ptp(days) < 40


def test_readings_of_one_day_do_not_call_a_label_wrong() -> None:
    readings = [(59.0 + hour / 24, 1.25 * CLEAN_PA) for hour in range(8)]
    assert OddKind.ABOVE_LABEL not in kinds(forecast(one_slot(readings=readings), Settings()))


@pytest.mark.parametrize("hours", [0.3, 0.5, 0.7, 6.0])
@pytest.mark.parametrize("age", [10.0, 60.0])
def test_readings_over_the_limit_that_a_date_does_not_follow_are_told(hours: float, age: float) -> None:
    readings = [(8.0, 2.4 * CLEAN_PA), (3.0, 2.45 * CLEAN_PA)]
    result = forecast(one_slot(hours=hours, days_in=age, readings=readings), Settings())
    assert result.odd or result.drop_now_pa[0] > 1.4 * CLEAN_PA


def test_a_change_between_two_readings_of_one_visit_is_found_by_what_is_read_later() -> None:
    ratios = [(60.0, 1.6), (40.0, 2.2), (39.9, 1.04), (20.0, 1.12), (0.5, 1.2)]
    readings = [(ago, ratio * CLEAN_PA) for ago, ratio in ratios]
    result = forecast(one_slot(days_in=100.0, readings=readings), Settings())
    assert OddKind.FALL in kinds(result)


def test_one_reading_does_not_call_a_label_wrong() -> None:
    assert kinds(read_off(1.22, times=1)) == []
