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
# While nothing was seen, a time scatters by so much of its own length. Own assumption.
SPREAD = 0.3
_NORMAL = 1.4826


@dataclass(frozen=True)
class Pace:
    """Observed over reckoned, held between a half and two, from how many times, and by how much of their own
    length single ones scatter about it."""

    factor: float
    count: int
    spread: float


def pace(observed_s: FloatArray, reckoned_s: FloatArray) -> Pace:
    """The factor from times [n] in s: the median ratio's logarithm, drawn to nought by BELIEF times.

    Times under a minute and ratios beyond FARTHEST either way are left out. NaN is left out too.
    """
    usable = (observed_s >= LEAST_S) & (reckoned_s >= LEAST_S)
    logs = np.log(observed_s[usable] / reckoned_s[usable])
    logs = logs[np.abs(logs) <= np.log(FARTHEST)]
    if not len(logs):
        return Pace(1.0, 0, SPREAD)
    weight = len(logs) / (len(logs) + BELIEF)
    drawn = float(np.median(logs)) * weight
    # Of a normal scatter, 1.4826 times the median distance from the median is the standard deviation.
    seen = _NORMAL * float(np.median(np.abs(logs - np.median(logs))))
    spread = float(np.sqrt(weight * seen**2 + (1.0 - weight) * SPREAD**2))
    return Pace(float(np.clip(np.exp(drawn), *_WITHIN)), len(logs), spread)
