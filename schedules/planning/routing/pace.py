"""How fast ways go by the clock: a share of their usual speed for every span of it."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

Span = tuple[int, int, int]
USUAL = 100


@dataclass(frozen=True, slots=True)
class Pace:
    """``spans`` of (from, to, percent of the usual speed) in whole seconds, apart from each other; outside of
    them ways go at their usual speed.

    A way's length is the seconds it takes at the usual speed. Whoever leaves later never arrives earlier, as
    what was driven so far goes on at the speed of the hour. Raises ValueError for spans that overlap, end
    before they begin, begin before nought or have a speed outside 1 to 1000 %.
    """

    spans: tuple[Span, ...] = ()
    _starts: list[int] = field(init=False, repr=False, compare=False)
    _shares: list[int] = field(init=False, repr=False, compare=False)
    _driven: list[int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        pieces = [(0, USUAL)]
        for start, end, share in sorted(self.spans):
            if not (pieces[-1][0] <= start < end and USUAL // 100 <= share <= 10 * USUAL):
                raise ValueError(f"no span of a clock and a speed: {start} to {end} at {share} %")
            pieces += [(start, share), (end, USUAL)]
        driven = [0]
        for (start, share), (end, _next) in pairwise(pieces):
            driven.append(driven[-1] + (end - start) * share)
        object.__setattr__(self, "_starts", [start for start, _share in pieces])
        object.__setattr__(self, "_shares", [share for _start, share in pieces])
        object.__setattr__(self, "_driven", driven)

    def arrive(self, leave_s: int, way_s: int) -> int:
        """The second by which a way begun at ``leave_s`` is driven."""
        if not self.spans:
            return leave_s + way_s
        target = self._driven_by(leave_s) + USUAL * way_s
        at = max(bisect_right(self._driven, target) - 1, 0)
        return self._starts[at] - (self._driven[at] - target) // self._shares[at]

    def leave(self, arrive_s: int, way_s: int) -> int:
        """The last second at which a way can begin that is to be driven by ``arrive_s``."""
        if not self.spans:
            return arrive_s - way_s
        target = self._driven_by(arrive_s) - USUAL * way_s
        at = max(bisect_right(self._driven, target) - 1, 0)
        return self._starts[at] + (target - self._driven[at]) // self._shares[at]

    def reach(self, start_s: int, end_s: int) -> int:
        """The longest way, in its usual whole seconds, that is driven between the two."""
        return (self._driven_by(end_s) - self._driven_by(start_s)) // USUAL

    def stretch(self, hours: Sequence[tuple[int, int]]) -> float:
        """What ways take on the mean within these hours, over what they usually take."""
        took = sum(end - start for start, end in hours)
        driven = sum(self._driven_by(end) - self._driven_by(start) for start, end in hours)
        return USUAL * took / driven if self.spans and driven else 1.0

    def _driven_by(self, second: int) -> int:
        at = max(bisect_right(self._starts, second) - 1, 0)
        return self._driven[at] + (second - self._starts[at]) * self._shares[at]


STEADY = Pace()
