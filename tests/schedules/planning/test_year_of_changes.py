"""Changes in a year: seasons, caps and dust together."""

import numpy as np
import pytest

from schedules.planning.year_of_changes import changes_a_year

EVEN = np.arange(1.0, 366.0)  # one metre a day
# Ten metres a day in the first tenth of the year, nothing after: a smoky month and a fan at rest.
SMOKE = np.cumsum(np.where(np.arange(365) < 36, 10.0, 0.0))


@pytest.mark.parametrize(("holds", "cap", "changes"), [
    (36.5, np.inf, 365 / 37),  # whole days: full at the end of the 37th
    (np.inf, 73.0, 5.0),
    (np.inf, 730.0, 0.5),
    (730.0, np.inf, 0.5),
    (100.0, 50.0, 7.3),
    (np.inf, np.inf, 0.0),
    (0.0, np.inf, 365.0),
])  # fmt: skip
def test_an_even_year(holds: float, cap: float, changes: float) -> None:
    assert changes_a_year(EVEN, holds, cap) == pytest.approx(changes)


def test_a_smoky_month_is_not_a_year() -> None:
    """Three filters of 100 m in the first month, the fourth nearly full by its end and for the rest."""
    assert 3.0 < changes_a_year(SMOKE, 100.0, np.inf) < 4.0
    assert changes_a_year(SMOKE, 100.0, np.inf) < 365 / 10 / 5  # what the first life alone would promise


def test_a_fan_that_never_runs_loads_nothing() -> None:
    assert changes_a_year(np.zeros(365), 100.0, np.inf) == 0.0
    assert changes_a_year(np.zeros(365), 100.0, 73.0) == pytest.approx(5.0)


def test_more_room_never_asks_for_more_changes() -> None:
    rng = np.random.default_rng(11)
    running = np.cumsum(rng.gamma(0.5, 2.0, 365))
    counts = [changes_a_year(running, holds, 200.0) for holds in (5.0, 20.0, 80.0, 300.0, 2000.0)]
    assert counts == sorted(counts, reverse=True)


def test_a_year_has_365_days() -> None:
    with pytest.raises(ValueError, match="365"):
        changes_a_year(np.ones(366), 1.0, 1.0)
