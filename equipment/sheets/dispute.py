"""Rows of one sheet that contradict each other: none of them is believed, and each names another."""

from collections.abc import Hashable


class Dispute:
    """What the rows of one sheet contradict each other about.

    The first reading of a sheet finds out which keys are given twice with other values, but by then the
    first of their rows has been handed on. Where there are any, the sheet is read again with all their
    rows refused; so that sheets without contradictions, however long, are read once and no line is kept.
    """

    def __init__(self) -> None:
        self._later: dict[Hashable, int] = {}
        self._first: dict[Hashable, int] = {}

    def __bool__(self) -> bool:
        return bool(self._later)

    def found(self, key: Hashable, line: int) -> None:
        """The row on ``line`` gives other values for ``key`` than a row before it."""
        self._later.setdefault(key, line)

    def other(self, key: Hashable, line: int) -> int:
        """Another line that contradicts or repeats what ``line`` says of ``key``; 0 where it is not disputed.

        Lines must be asked about in their order.
        """
        if key not in self._later:
            return 0
        first = self._first.setdefault(key, line)
        return self._later[key] if line == first else first
