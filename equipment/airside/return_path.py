"""Whether the return path is wide enough: ducts and grilles against capacity and airflow.

Figures are those of California Title 24 Part 6, Tables 150.0-B and 150.0-C, as quoted in a second source:
with these no airflow need be measured there. Elsewhere they are a yardstick; local code decides.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from shared.units import METRE_PER_INCH, W_PER_TON

_SQUARE_INCH = METRE_PER_INCH**2
# Tons: least return duct diameters in inches, and least gross grille area in square inches in all.
_Table = dict[float, tuple[tuple[int, ...], int]]
_ONE_RETURN: _Table = {1.5: ((16,), 500), 2.0: ((18,), 600), 2.5: ((20,), 800)}
_TWO_RETURNS: _Table = {
    1.5: ((12, 10), 500),
    2.0: ((14, 12), 600),
    2.5: ((14, 14), 800),
    3.0: ((16, 14), 900),
    3.5: ((16, 16), 1000),
    4.0: ((18, 18), 1200),
    5.0: ((20, 20), 1500),
}
_TABLES = {1: _ONE_RETURN, 2: _TWO_RETURNS}


@dataclass(frozen=True, slots=True)
class Wanted:
    """Least duct diameters in m, widest first, and least gross grille area in m2 for a capacity in W."""

    diameters_m: tuple[float, ...]
    grille_m2: float
    capacity_w: float
    rule: str


def wanted(capacity_w: float, returns: int) -> Wanted | None:
    """What the tables ask of one or two returns at a capacity in W: the row of the next larger unit.

    None where the tables do not go: above 2.5 tons with one return, above 5 with two, or more returns.
    Raises ValueError for a capacity that is not above 0 or less than one return.
    """
    if not 0 < capacity_w < float("inf") or returns < 1:
        raise ValueError("the return path needs a capacity above 0 and at least one return")
    table, tons = _TABLES.get(returns, {}), capacity_w / W_PER_TON
    row = min((size for size in table if size >= tons - 1e-6), default=None)
    if row is None:
        return None
    inches, area = table[row]
    rule = f"California Title 24, Table 150.0-{'B' if returns == 1 else 'C'}"
    return Wanted(tuple(side * METRE_PER_INCH for side in inches), area * _SQUARE_INCH, row * W_PER_TON, rule)


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One part of the return path that is smaller than the rule wants it, both in m or both in m2."""

    part: str
    found: float
    least: float


def shortfalls(want: Wanted, diameters_m: Sequence[float | None], grille_m2: float | None) -> list[Shortfall]:
    """Ducts (widest against widest) and grilles in all that are narrower than wanted; unknown ones are not
    judged."""
    known = sorted((one for one in diameters_m if one is not None), reverse=True)
    narrow = [
        Shortfall("return duct", found, least)
        for found, least in zip(known, want.diameters_m, strict=False)
        if found < least - 1e-6
    ]
    if grille_m2 is not None and grille_m2 < want.grille_m2 - 1e-9:
        narrow.append(Shortfall("return grille", grille_m2, want.grille_m2))
    return narrow
