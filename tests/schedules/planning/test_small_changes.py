"""A little more or less on record moves a date by little: no bound is crossed by a unit of the meter."""

import numpy as np
import pytest

from schedules.planning.facts import Settings
from schedules.planning.forecast import forecast
from schedules.planning.loading import HIGHEST_PA
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot, with_weather
from tests.schedules.planning.test_fan import hours_of, temps

# Days by which a hundredth of the clean drop, or a day of log or weather, may move a due date or a median.
_LITTLE = 12


def days_told(**slot: object) -> tuple[int, int]:
    told = forecast(one_slot(**slot), Settings())  # type: ignore[arg-type]
    return int(told.due[0]) - AS_OF, int(told.p50[0]) - AS_OF


def test_a_reading_below_clean_counts_less_and_less_and_then_not_at_all() -> None:
    shares = np.arange(0.5, 1.1, 0.01)
    told = np.array([days_told(readings=[(10.0, share * CLEAN_PA)]) for share in shares])
    assert np.abs(np.diff(told, axis=0)).max() <= _LITTLE
    unread = days_told()
    assert tuple(told[0]) == unread
    # Eight tenths is what a clean filter may well read: it says that little dust came.
    assert told[30][0] > unread[0] + 2 * _LITTLE


def test_a_reading_of_a_present_filter_moves_its_date_step_by_step() -> None:
    told = np.array([days_told(readings=[(10.0, share * CLEAN_PA)]) for share in np.arange(1.0, 4.0, 0.02)])
    assert np.abs(np.diff(told, axis=0)).max() <= _LITTLE
    assert (np.diff(told[:, 0]) <= 1).all()


@pytest.mark.parametrize("reading", [HIGHEST_PA, 1e5, 1e12, 1e300])
def test_what_no_meter_shows_is_taken_for_the_highest_that_one_does(reading: float) -> None:
    readings = [(5.0, reading), (4.0, reading)]
    assert days_told(readings=readings) == days_told(readings=[(5.0, HIGHEST_PA), (4.0, HIGHEST_PA)])


def test_a_day_more_of_weather_moves_a_date_by_little() -> None:
    log = hours_of(temps(400))
    told = []
    for days in (0, 1, 15, 28, 29, 30, 31, 32, 60):
        facts = one_slot(hours=log)
        facts = with_weather(facts, temps(days)) if days else facts
        result = forecast(facts, Settings())
        told.append((int(result.due[0]), int(result.p50[0])))
    assert np.abs(np.diff(told, axis=0)).max() <= 2 * _LITTLE


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("risk", [0.0, 1e-12, 1.0])
def test_a_risk_of_nothing_or_of_everything_sets_a_day_without_a_complaint(risk: float) -> None:
    told = forecast(one_slot(readings=[(10.0, 1.5 * CLEAN_PA)]), Settings(risk))
    assert (told.due[0] < AS_OF) if risk < 0.5 else (told.due[0] > told.p90[0])
