"""How well promises of readings were kept: shares within their span, with honest intervals, and errors."""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

from schedules.planning.arrays import FloatArray
from schedules.planning.loading import METER_PA

# A lean is told where more than so many, or fewer than the rest, lie below the middle: a share that is worth
# telling of many readings, not merely one that they are enough to tell from a half.
_LEANS = 0.55
# Fewer readings say nothing worth reading about a share of four in five.
FEWEST = 30
PROMISED_SHARE = 0.8


@dataclass(frozen=True)
class Promises:
    """k promises and what was read, drops in Pa: ``told`` [3, k] at 10, 50 and 90 %, ``read`` [k]."""

    told: FloatArray
    read: FloatArray


@dataclass(frozen=True)
class Share:
    """A share with its 95 % interval (Clopper and Pearson's): of independent trials, which readings of
    one house are only nearly."""

    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Kept:
    """Of ``count`` readings how many lay inside, below and above their span; the middle of the absolute
    error and the bias (middle of read less promised) in Pa; ``under``, the share at or below the middle that
    was promised. Nothing but counts under FEWEST readings."""

    count: int
    inside: int
    below: int
    above: int
    span: Share | None
    error_pa: float
    bias_pa: float
    under: Share | None

    @property
    def enough(self) -> bool:
        return self.span is not None

    @property
    def verdict(self) -> str:
        """``few``; ``narrow`` or ``wide`` where the interval leaves four in five out; else ``right``."""
        if self.span is None:
            return "few"
        if self.span.high < PROMISED_SHARE:
            return "narrow"
        return "wide" if self.span.low > PROMISED_SHARE else "right"

    @property
    def lean(self) -> str:
        """``slower`` or ``faster`` where filters clearly load so, beside what was promised; else empty."""
        if self.under is None:
            return ""
        if self.under.low > _LEANS:
            return "slower"
        return "faster" if self.under.high < 1.0 - _LEANS else ""

    @property
    def slight(self) -> bool:
        """Whether the bias is less than a meter's hundredth of an inch."""
        return abs(self.bias_pa) < METER_PA


def share_of(hits: int, count: int) -> Share:
    """``hits`` of ``count`` > 0 as a share with its exact interval at 95 %, two tails alike."""
    low = betaincinv(hits, count - hits + 1, 0.025) if hits else 0.0
    high = betaincinv(hits + 1, count - hits, 0.975) if hits < count else 1.0
    return Share(hits / count, float(low), float(high))


def judge(promises: Promises) -> Kept:
    """How the promises were kept."""
    count = len(promises.read)
    below = int((promises.read < promises.told[0]).sum())
    above = int((promises.read > promises.told[2]).sum())
    inside = count - below - above
    if count < FEWEST:
        return Kept(count, inside, below, above, None, np.nan, np.nan, None)
    gap = promises.read - promises.told[1]
    middle, bias = float(np.median(np.abs(gap))), float(np.median(gap))
    under = share_of(int((gap <= 0.0).sum()), count)
    return Kept(count, inside, below, above, share_of(inside, count), middle, bias, under)


def calibration(promises: Promises) -> list[Share]:
    """Shares of readings at or below what was promised with 10, 50 and 90 %; empty under FEWEST."""
    count = len(promises.read)
    if count < FEWEST:
        return []
    return [share_of(int((promises.read <= line).sum()), count) for line in promises.told]
