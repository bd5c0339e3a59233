"""What no air path can be reckoned from, each by its own name; all are ValueErrors that say why."""

import numpy as np
import numpy.typing as npt


class BadFigure(ValueError):
    """A figure that nothing can be reckoned from."""


class NotFinite(BadFigure):
    """NaN or an infinity where a number is wanted."""


class NoArea(BadFigure):
    """An area, or a side of one, that is not above 0."""


class OutOfOrder(BadFigure):
    """Airflows of a curve that do not rise from point to point: refused, never sorted behind the reader."""


def want_finite(what: str, *figures: npt.ArrayLike) -> None:
    """Raises NotFinite, naming ``what``, where any of the figures (any shapes) is NaN or infinite."""
    if not all(np.all(np.isfinite(np.asarray(one, dtype=float))) for one in figures):
        raise NotFinite(f"{what} must be a number, neither NaN nor infinite")


def want_above_nought(what: str, *figures: npt.ArrayLike, error: type[BadFigure] = BadFigure) -> None:
    """Raises NotFinite as want_finite does, and ``error`` where any of the figures is not above 0."""
    want_finite(what, *figures)
    if not all(np.all(np.asarray(one, dtype=float) > 0) for one in figures):
        raise error(f"{what} must be above 0")


def want_not_negative(what: str, *figures: npt.ArrayLike) -> None:
    """Raises NotFinite as want_finite does, and BadFigure where any of the figures is below 0."""
    want_finite(what, *figures)
    if not all(np.all(np.asarray(one, dtype=float) >= 0) for one in figures):
        raise BadFigure(f"{what} must not be negative")
