"""Jobs for the tests of the season, with usual values for whatever a test does not speak of."""

from typing import Any

import numpy as np

from schedules.planning.season import Jobs

USUAL = {
    "branch": 0, "skills": 0, "low": 0.0, "high": 0.0, "cap": np.inf, "life": 1e6, "scatter": 0.0,
    "life_cap": np.inf, "minutes": 12.0, "share": 1.0, "booked": -1, "early_days": 7.0, "waste_a_day": 0.1,
    "limit": np.nan,
}  # fmt: skip
WHOLE = {"home", "branch", "skills", "booked"}


def jobs(due: list[float], **given: Any) -> Jobs:
    """Jobs due on these days; a value given for all, or one a job; every job in a home of its own."""
    told: dict[str, Any] = {"home": list(range(len(due))), **USUAL, **given, "due": due}
    return Jobs(
        **{
            name: np.array(np.broadcast_to(value, len(due)), dtype=np.int64 if name in WHOLE else np.float64)
            for name, value in told.items()
        }
    )
