"""Fan hours: the model finds the slopes that made a log, and bears every kind of log."""

import numpy as np
import pytest

from schedules.planning.climate import fit_climate
from schedules.planning.runtime import PRIOR_DAYS, USUAL, FanModel, fill_hours, fit_fan

FIRST = np.zeros(1, dtype=np.int64)


def year_of_temps(years: int = 2) -> np.ndarray:
    days = np.arange(365 * years)
    return 11 - 14 * np.cos(2 * np.pi * days / 365) + np.random.default_rng(3).normal(0, 4, len(days))


def simulated(
    base: float, heat: float, cool: float, below: float, above: float
) -> tuple[np.ndarray, np.ndarray]:
    """A log worked out here, day by day, with an hour's scatter."""
    temps = year_of_temps()
    hours = np.array([base + heat * max(0, below - t) + cool * max(0, t - above) for t in temps])
    return np.clip(hours + np.random.default_rng(4).normal(0, 1, len(temps)), 0, 24), temps


@pytest.mark.parametrize(
    ("base", "heat", "cool", "below", "above"),
    [(2.0, 0.5, 0.9, 13.0, 20.0), (3.0, 0.8, 0.4, 16.0, 23.0), (1.0, 0.3, 1.2, 11.5, 18.5)],
)
def test_the_slopes_that_made_a_log_are_found_again(
    base: float, heat: float, cool: float, below: float, above: float
) -> None:
    hours, temps = simulated(base, heat, cool, below, above)
    model = fit_fan(hours[None, :], temps[None, :], FIRST)
    assert model.slopes[0] == pytest.approx([base, heat, cool], rel=0.2, abs=0.25)
    assert model.heat_below_c[0] == pytest.approx(below, abs=2)
    assert model.cool_above_c[0] == pytest.approx(above, abs=2)
    assert model.spread_h[0] == pytest.approx(1, rel=0.2)
    cold, mild, hot = model.hours(np.array([[-10.0, 15.0, 30.0]]), FIRST)[0]
    assert cold == pytest.approx(base + heat * (below + 10), rel=0.1)
    assert hot == pytest.approx(base + cool * (30 - above), rel=0.15)
    assert mild == pytest.approx(base + heat * max(0, below - 15), abs=0.8)


def test_holes_are_filled_from_weather_and_what_was_seen_stays() -> None:
    hours, temps = simulated(2.0, 0.5, 0.9, 13.0, 20.0)
    holed = hours.copy()
    holed[100:160] = np.nan
    model = fit_fan(holed[None, :], temps[None, :], FIRST)
    filled = fill_hours(holed[None, :], model.hours(temps[None, :], FIRST))[0]
    assert np.array_equal(np.delete(filled, np.s_[100:160]), np.delete(hours, np.s_[100:160]))
    assert filled[100:160].sum() == pytest.approx(hours[100:160].sum(), rel=0.1)


def test_a_log_without_any_weather_is_filled_with_its_own_mean() -> None:
    hours = np.full((1, 300), 8.0)
    hours[0, ::3] = np.nan
    filled = fill_hours(hours, np.full((1, 300), np.nan))
    assert np.all(np.isfinite(filled))
    assert filled[0, 0] == pytest.approx(8, abs=0.5)


@pytest.mark.parametrize("value", [np.nan, 0.0, 24.0, 25.0])
def test_every_constant_log_is_borne(value: float) -> None:
    hours, temps = np.full((1, 200), value), year_of_temps()[None, :200]
    model = fit_fan(hours, temps, FIRST)
    fitted = model.hours(temps, FIRST)
    assert np.all((fitted >= 0) & (fitted <= 24))
    if value == 0:
        assert fitted.mean() < 0.5


def test_a_system_without_a_log_keeps_the_usual_slopes() -> None:
    model = fit_fan(np.full((1, 100), np.nan), year_of_temps()[None, :100], FIRST)
    assert model.slopes[0] == pytest.approx(USUAL)
    assert model.days[0] == 0


def test_one_systems_log_does_not_reach_another() -> None:
    hours, temps = simulated(2.0, 0.5, 0.9, 13.0, 20.0)
    alone = fit_fan(hours[None, :], temps[None, :], FIRST)
    beside = fit_fan(np.stack([hours, np.full_like(hours, np.nan)]), temps[None, :], np.array([0, 0]))
    assert beside.slopes[0] == pytest.approx(alone.slopes[0])


def test_slopes_are_those_of_the_normal_equations_at_the_chosen_balance_points() -> None:
    """Beside numpy's own least squares, the belief in the usual slopes as rows of its own."""
    hours, temps = simulated(2.0, 0.5, 0.9, 13.0, 20.0)
    hours[::7], temps[3::11] = np.nan, np.nan
    model = fit_fan(hours[None, :], temps[None, :], FIRST)
    both = ~np.isnan(hours) & ~np.isnan(temps)
    below = np.maximum(0.0, model.heat_below_c[0] - temps[both])
    above = np.maximum(0.0, temps[both] - model.cool_above_c[0])
    belief = np.diag(np.sqrt(PRIOR_DAYS) * np.array([1.0, 8.0, 6.0]) / 4)
    rows = np.concatenate([np.stack([np.ones(both.sum()), below, above], axis=1), belief])
    wanted = np.concatenate([hours[both], belief @ USUAL])
    assert model.slopes[0] == pytest.approx(np.linalg.lstsq(rows, wanted)[0], rel=1e-9)
    assert model.days[0] == both.sum()


def test_systems_of_several_stations_are_each_fitted_to_their_own() -> None:
    hours, temps = simulated(2.0, 0.5, 0.9, 13.0, 20.0)
    temps_c, station = np.stack([temps, temps - 8.0]), np.array([1, 0, 1])
    together = fit_fan(np.stack([hours, hours, hours[::-1]]), temps_c, station)
    fitted = together.hours(temps_c, station)
    for row, log in enumerate((hours, hours, hours[::-1])):
        alone = fit_fan(log[None, :], temps_c[[station[row]]], FIRST)
        assert together.slopes[row] == pytest.approx(alone.slopes[0])
        assert fitted[row] == pytest.approx(alone.hours(temps_c[[station[row]]], FIRST)[0])
    assert together.heat_below_c[0] < together.heat_below_c[1]


def fan(*slopes: float) -> FanModel:
    return FanModel(np.array([slopes]), np.array([13.0]), np.array([20.0]), np.ones(1), np.array([300]))


def test_hours_over_scattering_weather_are_the_mean_over_days_drawn() -> None:
    """The hinges bend upward: hours at the mean temperature alone would be too few."""
    model = FanModel(
        np.array([[2.0, 0.5, 0.9]]), np.array([13.0]), np.array([20.0]), np.ones(1), np.array([300])
    )
    drawn = np.random.default_rng(5).normal(14.0, 5.0, 200_000)
    expected = model.expected(np.array([[14.0]]), np.array([5.0]), FIRST)[0, 0]
    assert expected == pytest.approx(model.hours(drawn[None, :], FIRST).mean(), rel=0.01)
    assert expected > model.hours(np.array([[14.0]]), FIRST)[0, 0]


def test_a_day_has_no_more_than_24_hours_and_none_below_nought() -> None:
    model = FanModel(
        np.array([[2.0, 2.0, 2.0]]), np.array([13.0]), np.array([20.0]), np.ones(1), np.array([300])
    )
    assert model.hours(np.array([[-60.0, 60.0]]), FIRST).tolist() == [[24.0, 24.0]]


def test_the_usual_fan_in_a_texan_year_runs_about_a_fifth_of_it() -> None:
    """About 20 % of the year in 189 Texas homes: Cetin & Novoselac; least near 15 C outdoors."""
    days = np.arange(735_000, 735_000 + 365)
    climate = fit_climate(np.full((1, 1), np.nan), 735_000, np.array([30.3]))
    model = fit_fan(np.full((1, 1), np.nan), np.full((1, 1), np.nan), FIRST)
    year = model.expected(climate.normal(days), climate.spread_c, FIRST)
    assert year.mean() / 24 == pytest.approx(0.20, abs=0.04)
    temps = np.arange(-5.0, 38.0)
    assert temps[np.argmin(model.hours(temps[None, :], FIRST)[0])] == pytest.approx(15, abs=2)
