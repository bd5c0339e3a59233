"""When a stored value and a typed one are the same fact."""

import math
from typing import Any


def same(one: Any, other: Any) -> bool:
    """Equal, or floats that differ by less than a unit conversion's rounding."""
    if isinstance(one, float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    return bool(one == other)


def differences(row: object, fields: dict[str, Any]) -> list[str]:
    """The names of ``fields`` whose stored value is another."""
    return [name for name, value in fields.items() if not same(getattr(row, name), value)]
