"""A life's readings as a normal site: moments of their likelihood on the grid, its cavity taken out again."""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray, SingleArray
from schedules.planning.loading import GRID

_POWERS = np.stack([np.ones_like(GRID), GRID, np.square(GRID)]).astype(np.float32)
# Lives at once, so that they stay in the processor's cache.
_AT_ONCE = 64
# A cavity that moved by less, in its own deviations, asks for no new moments.
_SAME = 1e-3
# A site of less says nothing; its mean would be lost.
_LEAST = 0.02


@dataclass(frozen=True)
class Sites:
    """Each life's readings as a normal of log kappa's offset from the class mean, [lives, pairs], and the
    normal (``about``, ``within``: mean and variance) that stood for all else as they were reckoned."""

    mean: FloatArray
    precision: FloatArray
    evidence: FloatArray
    about: FloatArray
    within: FloatArray

    def moved(self, mean: FloatArray, variance: FloatArray) -> BoolArray:
        """Of which lives [lives] all else is another normal by now."""
        far = np.abs(mean - self.about) > _SAME * np.sqrt(variance)
        far |= np.abs(variance - self.within) > _SAME * variance
        return np.asarray(far.any(axis=1))

    def of(self, rows: BoolArray) -> "Sites":
        """Of some of the lives."""
        return Sites(*(part[rows] for part in vars(self).values()))

    def toward(self, fresh: "Sites", step: float) -> "Sites":
        """``fresh``, but its normals only by ``step`` of the way from these, in precision and in precision
        times mean."""
        precision = (1.0 - step) * self.precision + step * fresh.precision
        moment = (1.0 - step) * self.precision * self.mean + step * fresh.precision * fresh.mean
        precision = _told(precision)
        return replace(fresh, mean=moment / precision, precision=precision)

    def put(self, rows: BoolArray | IntArray, fresh: "Sites") -> None:
        """Write ``fresh`` over ``rows`` of these."""
        for name, part in vars(fresh).items():
            getattr(self, name)[rows] = part


def sites_of(
    log: SingleArray, mean: FloatArray, variance: FloatArray, doubt: FloatArray, last: Sites | None = None
) -> Sites:
    """Sites of the lives whose log likelihood is ``log`` [grid, lives, pairs], all else of them being a
    normal [lives, pairs]; those of ``last`` where that has not changed.

    Readings that contradict all else leave more in doubt than there was: their site's precision is negative,
    by at most the share ``doubt`` [lives, 1] of all else's.
    """
    if last is None:
        return _reckoned(log, mean, variance, doubt)
    rows = last.moved(mean, variance)
    if rows.all():
        return _reckoned(log, mean, variance, doubt)
    out = Sites(*(part.copy() for part in vars(last).values()))
    out.put(rows, _reckoned(log[:, rows], mean[rows], variance[rows], doubt[rows]))
    return out


def _told(precision: FloatArray) -> FloatArray:
    """No precision so near to nought that the mean beside it is lost."""
    return np.where(np.abs(precision) < _LEAST, np.copysign(_LEAST, precision), precision)


def _reckoned(log: SingleArray, mean: FloatArray, variance: FloatArray, doubt: FloatArray) -> Sites:
    log_total, first, second = _moments(log, mean, variance)
    spread = second - np.square(first) + 1e-3
    precision = _told(np.maximum(1.0 / spread, (1.0 - doubt) / variance) - 1.0 / variance)
    middle = (first * (precision + 1.0 / variance) - mean / variance) / precision
    return Sites(middle, precision, log_total - 0.5 * np.log(variance), mean, variance)


def _moments(
    log: SingleArray, mean: FloatArray, variance: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log sum, mean and mean square over the grid of ``log`` [grid, n, pairs] plus a normal's logarithm.

    In single precision and a few rows at once: it is the work of the night, and the moments need no more.
    """
    out = np.empty((len(_POWERS), *mean.shape), dtype=np.float32)
    tops = np.empty(mean.shape, dtype=np.float32)
    tilt, bend = ((part / variance).astype(np.float32) for part in (mean, np.full_like(mean, -0.5)))
    for start in range(0, len(mean), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        held = np.multiply.outer(_POWERS[2], bend[some])
        held += np.multiply.outer(_POWERS[1], tilt[some])
        held += log[:, some]
        tops[some] = held.max(axis=0)
        held -= tops[some]
        np.exp(held, out=held)
        out[:, some] = (_POWERS @ held.reshape(len(GRID), -1)).reshape(len(_POWERS), *tops[some].shape)
    total = out[0].astype(np.float64)
    log_total = np.log(total) + tops - 0.5 * np.square(mean) / variance
    return log_total, out[1] / total, out[2] / total
