"""A fixed-speed blower: the airflow at which its table meets what return, filter and supply resist."""

from collections.abc import Callable, Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from equipment.airside.refused import NotFinite, want_above_nought, want_finite

Resistance = Callable[[float], float]

# A filter's usual part of the external static, and by how many parts a fixed-speed blower's static falls
# as its airflow rises by one: own assumptions, between what trade press and blower tables show.
USUAL_FILTER_PART = 1 / 3
USUAL_BLOWER_FALL = 2.0
# Less air than this part of the clean airflow no reading is carried from.
LEAST_AIRFLOW = 0.4


class BlowerTableError(ValueError):
    """A blower table from which no operating point can be read."""


class NotFiniteTable(BlowerTableError, NotFinite):
    """The table holds NaN or an infinity."""


class TooFewPoints(BlowerTableError):
    """The table has fewer than two points."""


class SamePoint(BlowerTableError):
    """Two points have the same airflow."""


class NotFalling(BlowerTableError):
    """The static does not fall with rising airflow."""


class NoCrossing(BlowerTableError):
    """The resistance meets the blower outside the table: `side` of its end at `end_m3s`.

    Below the table, `part` names what resists most there; above it, `part` is empty.
    """

    def __init__(self, side: Literal["below", "above"], end_m3s: float, part: str) -> None:
        if side == "below":
            words = f"already at the table's lowest airflow the blower is overcome, most of all by the {part}"
        else:
            words = "even at the table's highest airflow return, filter and supply resist less than it gives"
        super().__init__(words)
        self.side, self.end_m3s, self.part = side, end_m3s, part


def operating_airflow(table: Sequence[tuple[float, float]], parts: Mapping[str, Resistance]) -> float:
    """Airflow in m3/s at which the blower gives as much static as all parts together resist.

    `table` holds (airflow in m3/s, external static in Pa) in any order and is read as straight lines
    between its points, never beyond them; `parts` gives each part's resistance in Pa at an airflow in
    m3/s, none falling. For fixed-speed motors at one tap. Raises TooFewPoints, SamePoint, NotFalling or
    NoCrossing, and NotFinite where table or a part holds NaN or an infinity.
    """
    flows, statics = _checked_table(table)
    for name, part in parts.items():
        want_finite(f"what the {name} resists", part(flows[0]), part(flows[-1]))

    def surplus(airflow_m3s: float) -> float:
        resisted = sum(part(airflow_m3s) for part in parts.values())
        return float(np.interp(airflow_m3s, flows, statics)) - resisted

    if surplus(flows[0]) < 0:
        strongest = max(parts, key=lambda name: parts[name](flows[0]))
        raise NoCrossing("below", flows[0], strongest)
    if surplus(flows[-1]) > 0:
        raise NoCrossing("above", flows[-1], "")
    return float(brentq(surplus, flows[0], flows[-1], xtol=1e-12))


def drop_at_held_airflow(
    drop_pa: NDArray[np.float64], clean_pa: NDArray[np.float64], exponent: float = 1.18
) -> NDArray[np.float64]:
    """The drop that a loaded filter would show at its clean airflow, from the lower one at a fixed speed.

    ``drop_pa`` and ``clean_pa`` [n] in Pa, the airflow not measured: a loaded filter takes air from the
    blower and so shows less than it holds back. The blower's static falls straight, ducts go with the
    square, the filter's usual part of the static is taken; all else is exact. Drops below clean stay.
    """
    shown = np.maximum(drop_pa / clean_pa, 1.0)
    part, fall = USUAL_FILTER_PART, USUAL_BLOWER_FALL
    # 1 - fall (q - 1) = (1 - part) q^2 + part * shown, with q the airflow over the clean one.
    left = np.maximum(1.0 + fall - part * shown, 0.0)
    airflow = (np.sqrt(fall**2 + 4 * (1 - part) * left) - fall) / (2 * (1 - part))
    held = clean_pa * shown / np.maximum(airflow, LEAST_AIRFLOW) ** exponent
    return np.asarray(np.where(drop_pa > clean_pa, held, drop_pa))


def with_the_square(static_pa: float, at_m3s: float) -> Resistance:
    """The resistance of ducts and coils: `static_pa` at `at_m3s`, elsewhere with the airflow's square.

    Raises BadFigure for an airflow not above 0, NotFinite for NaN or an infinity.
    """
    want_finite("a static", static_pa)
    want_above_nought("the airflow a static was taken at", at_m3s)
    return lambda airflow_m3s: static_pa * (airflow_m3s / at_m3s) ** 2


def _checked_table(table: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    if len(table) < 2:
        raise TooFewPoints("the blower table needs at least two points")
    if not np.all(np.isfinite(np.asarray(table, dtype=float))):
        raise NotFiniteTable("every point of the blower table must be two numbers, neither NaN nor infinite")
    flows, statics = (list(column) for column in zip(*sorted(table), strict=True))
    if any(rise <= 0 for rise in np.diff(flows)):
        raise SamePoint("the blower table has two points of the same airflow")
    if any(rise >= 0 for rise in np.diff(statics)):
        raise NotFalling("the blower table's static does not fall with rising airflow")
    return flows, statics
