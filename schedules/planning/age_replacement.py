"""The age at which replacing costs least a day, where one that is late costs more than one in time.

The classical age replacement policy (Barlow and Proschan): with survival S by age, planned price p and price
q of a late one, the cost a day of changing at age t is ``(p S(t) + q (1 - S(t))) / integral of S to t``. Who
pays more for a late change waits less; lives that hardly differ are used up further.
"""

import numpy as np
from scipy.integrate import cumulative_trapezoid

from schedules.planning.arrays import FloatArray


def least_rate(
    ages: FloatArray, survival: FloatArray, planned: float, late: float
) -> tuple[FloatArray, FloatArray]:
    """Age [n] in the unit of ``ages`` [k] (rising from 0) at which the cost a unit of time is least, and that
    cost [n], for ``survival`` [n, k] at those ages; the last age where waiting never costs more.

    Between two ages survival is taken as a straight line, so the step sets how near it comes.
    """
    used = cumulative_trapezoid(survival, ages, axis=1)
    alive = survival[:, 1:]
    rate = (planned * alive + late * (1.0 - alive)) / np.maximum(used, 1e-12)
    best = rate.argmin(axis=1)
    return ages[1:][best], rate[np.arange(len(best)), best]
