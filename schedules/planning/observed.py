"""How the times that were reckoned compare with those observed: one factor, careful while little was seen."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray

# So many observed times weigh as much as the belief that the reckoned ones are right. Own choice.
BELIEF = 20.0
# A way or a stay beyond these was no plain one: lunch, a part to fetch, a tap on the wrong day.
FARTHEST = 3.0
LEAST_S = 60.0
_WITHIN = (0.5, 2.0)


@dataclass(frozen=True)
class Pace:
    """Observed over reckoned, held between a half and two, and from how many times."""

    factor: float
    count: int


def pace(observed_s: FloatArray, reckoned_s: FloatArray) -> Pace:
    """The factor from times [n] in s: the median ratio's logarithm, drawn to nought by BELIEF times.

    Times under a minute and ratios beyond FARTHEST either way are left out. NaN is left out too.
    """
    usable = (observed_s >= LEAST_S) & (reckoned_s >= LEAST_S)
    logs = np.log(observed_s[usable] / reckoned_s[usable])
    logs = logs[np.abs(logs) <= np.log(FARTHEST)]
    if not len(logs):
        return Pace(1.0, 0)
    drawn = float(np.median(logs)) * len(logs) / (len(logs) + BELIEF)
    return Pace(float(np.clip(np.exp(drawn), *_WITHIN)), len(logs))
