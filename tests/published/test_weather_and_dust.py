"""Weather, dust and cost against figures from outside, each with its source beside it.

Left out: the change-point fit on a published meter record (its sample data come with no package
that is installed here), and age replacement under a Weibull law, which nothing here computes.
"""

import csv
import gzip
from datetime import UTC, datetime, timedelta
from importlib.metadata import distribution
from pathlib import Path

import numpy as np
import pytest

from schedules.planning.facts import Settings
from schedules.planning.forecast import forecast
from schedules.planning.runtime import FanModel
from shared import units
from shared.units import AIRFLOW, M3S_PER_CFM, PA_PER_INWC, PRESSURE, VELOCITY
from tests.schedules.planning.fleet import one_slot

# Found, not imported: at its first import the package makes a folder, and two test workers collide there.
DIYEPW = Path(str(distribution("diyepw").locate_file("diyepw"))) / "data"
# Nor this one, which brings in pandas.
SEATTLE = Path(str(distribution("vega_datasets").locate_file("vega_datasets"))) / "_data/seattle-weather.csv"
# An hour a day for every ten kelvin below or above 65 F: the hours of the model count degree days.
DEGREE_DAYS = FanModel(
    np.array([[0.0, 0.1, 0.1]]), np.array([units.celsius(65)]), np.array([units.celsius(65)]), np.ones(1),
    np.array([365]),
)  # fmt: skip


def degree_days(temps_c: np.ndarray, per_day: int = 1) -> tuple[float, float]:
    """Heating and cooling degree days, base 65 F, in the model's own arithmetic."""
    hours = DEGREE_DAYS.hours(temps_c[None, :], np.zeros(1, dtype=np.int64))[0] * 10 * 1.8 / per_day
    cold = temps_c < units.celsius(65)
    return float(hours[cold].sum()), float(hours[~cold].sum())


def chicago_2016() -> np.ndarray:
    """Daily means of days at UTC-6."""
    days: dict[object, list[float]] = {}
    for year in (2016, 2017):
        with gzip.open(DIYEPW / "noaa_isd_lite_files" / f"725300-{year}.gz", "rt") as file:
            for line in file:
                y, month, day, hour, tenths = (int(field) for field in line.split()[:5])
                local = datetime(y, month, day, hour, tzinfo=UTC) - timedelta(hours=6)
                if local.year == 2016 and tenths != -9999:
                    days.setdefault(local.date(), []).append(tenths / 10)
    return np.array([np.mean(temps) for temps in days.values()])


def test_degree_days_of_daily_means_in_chicago() -> None:
    """NOAA ISD-Lite, Chicago O'Hare 2016, as carried by diyepw 1.3.1, worked out outside this project."""
    heating, cooling = degree_days(chicago_2016())
    assert heating == pytest.approx(5710.5, rel=1e-3)
    assert cooling == pytest.approx(1137.2, rel=1e-3)


def test_the_same_year_by_another_collection_differs_by_some_per_cent() -> None:
    """R's mosaicData gives 5718 heating and 1159 cooling degree days for Chicago 2016."""
    heating, cooling = degree_days(chicago_2016())
    assert heating == pytest.approx(5718, rel=0.01)
    assert cooling == pytest.approx(1159, rel=0.03)


@pytest.mark.parametrize(
    ("year", "heating", "cooling"),
    [("2012", 4808.8, 164.2), ("2013", 4449.8, 358.7), ("2014", 3963.1, 346.9), ("2015", 3871.4, 454.0)],
)
def test_degree_days_of_the_mean_of_highest_and_lowest_in_seattle(
    year: str, heating: float, cooling: float
) -> None:
    """NOAA's Seattle record in vega-datasets 0.9.0, seattle-weather.csv."""
    with SEATTLE.open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["date"].startswith(year)]
    middles = np.array([(float(row["temp_max"]) + float(row["temp_min"])) / 2 for row in rows])
    assert degree_days(middles) == pytest.approx((heating, cooling), rel=1e-3)


def test_hourly_degree_days_are_more_than_those_of_daily_means() -> None:
    """Chicago's typical year (NREL TMY3, in diyepw 1.3.1): 2.7 % more heating, 20 % more cooling."""
    with (DIYEPW / "tmy_epw_files" / "USA_IL_Chicago.OHare.Intl.AP.725300_TMY3.epw").open() as file:
        hourly = np.array([float(line.split(",")[6]) for line in file.readlines()[8:]])
    by_hour = degree_days(hourly, per_day=24)
    by_day = degree_days(hourly.reshape(365, 24).mean(axis=1))
    assert by_hour[0] / by_day[0] == pytest.approx(1.027, abs=0.003)
    assert by_hour[1] / by_day[1] == pytest.approx(1.20, abs=0.01)


def test_the_inch_of_water_the_cfm_and_the_fpm_by_the_registry() -> None:
    """From memory: NIST SP 811 for the conventional inch of water; the foot is 0.3048 m by definition."""
    assert units.parse("1 in. w.c.", PRESSURE) == pytest.approx(249.0889, rel=1e-5)
    assert units.parse("1 cfm", AIRFLOW) == pytest.approx(0.4719474e-3, rel=1e-5)
    assert units.parse("1 fpm", VELOCITY) == pytest.approx(0.00508, rel=1e-5)


def test_the_dust_a_filter_has_caught_in_a_season() -> None:
    """Concentration: Mahdavi & Siegel, Indoor Air 31:1050 (2021), median of 21 homes, 89.8 ug/m3.

    1200 m3/h, running a fifth of 90 days, nine tenths caught: 41.9 g, the product worked out.
    """
    area = 0.25
    facts = one_slot(area_m2=area, airflow_m3s=1200 / 3600, hours=0.20 * 24, days_in=90.0)
    exposure = forecast(facts, Settings()).used_m[0]
    assert exposure * area * 89.8e-6 * 0.9 == pytest.approx(41.9, rel=5e-3)


@pytest.mark.parametrize(("watts_a_cfm", "efficiency"), [(0.45, 0.131), (0.58, 0.101)])
def test_the_efficiency_of_a_blower_at_the_limits_of_title_24(watts_a_cfm: float, efficiency: float) -> None:
    """California Title 24 150.0(m)13 at 0.5 in. w.c.: 0.11756 W a cfm and inch, divided."""
    assert 0.5 * PA_PER_INWC * M3S_PER_CFM / watts_a_cfm == pytest.approx(efficiency, rel=5e-3)
