"""The ideal observer: better than a habit, no better than the oracle, and honest."""

from datetime import date

import numpy as np
import pytest

from schedules.rehearsal.fleet import Fleet, simulate
from schedules.rehearsal.future import truth
from schedules.rehearsal.observer import observe
from schedules.rehearsal.score import known, perfect, score, six_months


@pytest.mark.long
def test_the_observer_lies_between_the_habit_and_the_oracle() -> None:
    fleet: Fleet = simulate(31, 30, date(2026, 5, 10))
    logged = np.arange(len(fleet.plant.systems.slots)) % 3 > 0
    told, happened = observe(fleet, logged, draws=400), truth(fleet)
    assert (np.diff(told.days, axis=0) >= 0).all()
    ahead = happened > 0
    ours = score(told, happened, ahead)
    assert score(perfect(fleet, 40), happened, ahead).pinball < ours.pinball
    assert ours.pinball < 0.7 * score(six_months(known(fleet, logged)), happened, ahead).pinball
    # Of some twenty slots a span of 80 % holds so many, but once in ten thousand fleets.
    assert 0.5 < ours.coverage <= 1.0
