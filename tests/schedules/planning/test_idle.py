"""A log of next to no hours and a meter that shows the filter loaded: each counts as far as believed."""

from dataclasses import replace

import numpy as np
import pytest

from schedules.planning.facts import FleetFacts, Settings
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.oddities import OddKind
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot

Readings = list[tuple[float, float]]


def read(*pairs: tuple[float, float]) -> Readings:
    return [(ago, times * CLEAN_PA) for ago, times in pairs]


LOADED = read((20.0, 1.9), (5.0, 2.2))


def told(
    readings: Readings,
    hours: np.ndarray | float | None = 0.0,
    days_in: float = 60.0,
    past: list[tuple[float, Readings]] | None = None,
) -> FleetForecast:
    return forecast(one_slot(hours=hours, readings=readings, days_in=days_in, past=past), Settings())


def kinds(result: FleetForecast) -> set[OddKind]:
    return {odd.kind for odd in result.odd}


@pytest.mark.parametrize("hours", [0.0, 0.1, 0.6])
def test_a_log_without_hours_hardly_counts_where_two_readings_stand_high(hours: float) -> None:
    result, without = told(LOADED, hours), told(LOADED, None)
    assert OddKind.IDLE_LOG in kinds(result)
    assert abs(result.due[0] - without.due[0]) <= 2
    assert abs(result.p50[0] - without.p50[0]) <= 5
    assert result.due[0] <= AS_OF
    assert result.drop_now_pa[0] > 1.7 * CLEAN_PA


@pytest.mark.parametrize("times", [1.9, 2.4, 3.0])
def test_a_few_minutes_more_of_fan_move_no_date_by_leaps(times: float) -> None:
    hours = np.arange(0.0, 3.01, 0.05)
    readings = read((20.0, times), (5.0, times + 0.05))
    due = np.array([told(readings, each).due[0] for each in hours])
    assert np.abs(np.diff(due)).max() <= 4
    assert OddKind.IDLE_LOG in kinds(told(readings, 0.5))
    assert OddKind.IDLE_LOG not in kinds(told(readings, 3.0))


@pytest.mark.parametrize("hours", [0.1, 0.5, 0.7, 1.0])
def test_higher_readings_bring_the_middle_date_nearer(hours: float) -> None:
    middles = [
        told(read((20.0, times), (5.0, times + 0.05)), hours).p50[0] for times in np.arange(1.3, 3.05, 0.1)
    ]
    assert (np.diff(middles) <= 0).all()


def test_of_one_reading_a_slip_is_held_possible() -> None:
    one, two = told(LOADED[1:]), told(LOADED)
    assert AS_OF + 60 < one.due[0] < told([]).due[0]
    assert one.p90[0] - one.p10[0] > 10 * (two.p90[0] - two.p10[0])
    assert kinds(one) == {OddKind.IDLE_LOG}


def test_two_readings_of_one_visit_count_as_little_more_than_one() -> None:
    once = told(read((5.0, 2.2)))
    visit = told(read((5.02, 2.2), (5.0, 2.2)))
    days = told(read((8.0, 2.2), (5.0, 2.2)))
    assert days.run_hours[0] > 1.5 * visit.run_hours[0] > once.run_hours[0]


@pytest.mark.parametrize("hours", [0.1, 0.5])
def test_of_one_reading_a_higher_one_asks_for_no_later_change(hours: float) -> None:
    due = [told(read((5.0, times)), hours).due[0] for times in (1.3, 1.6, 2.0, 2.4, 3.0, 4.0)]
    assert (np.diff(due) <= 0).all()


@pytest.mark.parametrize("times", [2.0, 2.4])
def test_more_hours_of_log_ask_for_no_later_change(times: float) -> None:
    due = np.array([told(read((5.0, times)), hours).due[0] for hours in np.arange(0.0, 4.01, 0.25)])
    assert np.diff(due).max() <= 3


def test_a_doubted_log_beside_others_is_weighed_as_alone_dust_and_all() -> None:
    rng = np.random.default_rng(8)
    dust, ahead = rng.uniform(0.5, 3.0, (1, 400)), rng.uniform(0.5, 2.0, (1, 365))

    def home(hours: float, readings: Readings, days_in: float) -> FleetFacts:
        facts = one_slot(hours=hours, readings=readings, days_in=days_in)
        return replace(facts, systems=replace(facts.systems, dust=dust * hours, dust_ahead=ahead))

    homes = [
        home(6.0, read((9.0, 1.2)), 90.0),
        home(0.2, LOADED, 60.0),
        home(5.0, read((30.0, 1.3), (2.0, 1.6)), 70.0),
        home(0.4, read((16.0, 1.9), (4.0, 2.1)), 50.0),
    ]
    together = forecast(beside(homes), Settings())
    assert sorted(odd.slot for odd in together.odd if odd.kind is OddKind.IDLE_LOG) == [1, 3]
    for place, facts in enumerate(homes):
        alone = forecast(facts, Settings())
        for name in ("due", "p10", "p50", "p90"):
            assert abs(getattr(together, name)[place] - getattr(alone, name)[0]) <= 1
        assert together.run_hours[place] == pytest.approx(alone.run_hours[0], rel=1e-3)
        assert together.log_doubt[place] == pytest.approx(alone.log_doubt[0], abs=1e-3)
        assert together.used_m[place] == pytest.approx(alone.used_m[0], rel=1e-3)


def test_dust_of_the_day_and_to_come_counts_where_a_log_is_doubted() -> None:
    dust = np.where(np.arange(400) >= 370, 3.0, 1.0)[None, :]

    def by(hours: float | None) -> FleetForecast:
        facts = one_slot(hours=hours, readings=LOADED)
        systems = replace(facts.systems, dust=dust, dust_ahead=np.full((1, 365), 1.5))
        return forecast(replace(facts, systems=systems), Settings())

    result, without = by(0.0), by(None)
    assert result.used_m[0] == pytest.approx(result.log_doubt[0] * without.used_m[0], rel=1e-6)
    assert result.ahead.surplus is not None
    assert result.ahead.surplus[0, -1] == pytest.approx(0.5 * result.ahead.running[0, -1], rel=1e-6)


def beside(homes: list[FleetFacts]) -> FleetFacts:
    """Systems of one slot each, in homes of their own."""
    lives = np.cumsum([0] + [len(facts.lives.slot) for facts in homes])
    number = {"slots": ("system", "home"), "lives": ("slot",), "readings": ("life",)}

    def joined(name: str) -> object:
        parts = [getattr(facts, name) for facts in homes]
        columns = {}
        for column, first in vars(parts[0]).items():
            if isinstance(first, np.ndarray):
                step = lives if column == "life" else np.arange(len(homes))
                moved = column in number.get(name, ())
                columns[column] = np.concatenate(
                    [
                        getattr(part, column) + step[at] if moved else getattr(part, column)
                        for at, part in enumerate(parts)
                    ]
                )
        return replace(parts[0], **columns)

    return replace(homes[0], **{name: joined(name) for name in ("systems", "slots", "lives", "readings")})  # type: ignore[arg-type]


def test_a_log_that_was_idle_before_this_filter_is_not_told_of_it() -> None:
    hours = np.where(np.arange(400) < 250, 0.1, 8.0)
    result = told(read((50.0, 1.3)), hours, 100.0, [(380.0, read((300.0, 1.8), (200.0, 2.3)))])
    assert OddKind.IDLE_LOG not in kinds(result)
    assert result.log_doubt[0] == 0.0
    assert result.run_hours[0] == pytest.approx(800.0)


def test_each_slot_is_told_by_its_own_reading_where_it_has_one() -> None:
    result = forecast(side_by_side(LOADED, read((12.0, 2.5), (3.0, 2.6))), Settings())
    found = {odd.slot: odd for odd in result.odd if odd.kind is OddKind.IDLE_LOG}
    assert found[0].at == AS_OF + 1 - 5.0
    assert found[1].at == AS_OF + 1 - 3.0


@pytest.mark.parametrize(
    ("readings", "hours", "days_in"),
    [
        (LOADED, 6.0, 60.0),
        (read((20.0, 1.1), (5.0, 1.0)), 0.0, 60.0),
        ([], 0.0, 60.0),
    ],
    ids=["a fan that runs", "clean as it should be", "never read"],
)
def test_what_fits_a_log_leaves_it_alone(readings: Readings, hours: float, days_in: float) -> None:
    result = told(readings, hours, days_in)
    assert OddKind.IDLE_LOG not in kinds(result)
    assert result.run_hours[0] == pytest.approx(hours * days_in, abs=1e-6)


@pytest.mark.parametrize("before", [1.9, 3.0, 16.0])
def test_of_a_log_that_told_of_hours_before_only_the_idle_part_is_doubted(before: float) -> None:
    result = told(LOADED, np.where(np.arange(400) < 340, before, 0.0))
    assert OddKind.IDLE_LOG in kinds(result)
    assert result.due[0] <= AS_OF
    assert result.unlogged[0] == 0.0
    assert result.scatter.unlogged[0] == result.log_doubt[0] > 0.5
    assert result.fan.ahead.mean() > 0.7 * before


def test_what_a_past_filter_showed_stands_against_the_log_after_its_change() -> None:
    past = [(200.0, read((120.0, 1.8), (70.0, 2.3)))]
    result, without = (told([], hours, 10.0, past) for hours in (0.1, None))
    assert OddKind.IDLE_LOG in kinds(result)
    assert abs(result.due[0] - without.due[0]) < 14


def side_by_side(first: Readings, second: Readings) -> FleetFacts:
    """Two slots of one idle system, the second one's filter 90 days in."""
    one, other = one_slot(hours=0.1, readings=first), one_slot(hours=0.1, readings=second, days_in=90.0)

    def both(name: str, **shifts: int) -> object:
        here, there = getattr(one, name), getattr(other, name)
        return replace(
            here,
            **{
                column: np.concatenate([part, getattr(there, column) + shifts.get(column, 0)])
                if part.dtype != np.bool_
                else np.concatenate([part, getattr(there, column)])
                for column, part in vars(here).items()
            },
        )

    parts = {"slots": both("slots"), "lives": both("lives", slot=1), "readings": both("readings", life=1)}
    return replace(one, **parts)  # type: ignore[arg-type]


def test_every_slot_of_a_doubted_log_is_told_of_it() -> None:
    result = forecast(side_by_side(LOADED, []), Settings())
    found = {odd.slot: odd for odd in result.odd if odd.kind is OddKind.IDLE_LOG}
    assert set(found) == {0, 1}
    assert found[1].seen_pa == found[0].seen_pa == pytest.approx(2.2 * CLEAN_PA)
    assert result.run_hours[1] > 90.0


def test_readings_of_two_slots_on_two_days_stand_together_against_their_log() -> None:
    one = told(read((20.0, 2.2)), 0.1)
    two = forecast(side_by_side(read((20.0, 2.2)), read((5.0, 2.4))), Settings())
    assert two.run_hours[0] > 1.5 * one.run_hours[0]
