"""One that nobody can plan or store holds up no others: it is told, left out, and let be for some minutes."""

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

from django.core.cache import cache
from django.db import InterfaceError, OperationalError

_HOME, _LET_BE_S = "home-left-out-%d", 600
log = logging.getLogger(__name__)
One = TypeVar("One")
Done = TypeVar("Done")


def as_far_as_possible(
    rows: Sequence[One], do: Callable[[Sequence[One]], Done], home_of: Callable[[One], tuple[int, str]]
) -> Iterator[Done]:
    """What ``do`` makes of ``rows``; where something goes wrong, of each half, down to the one that is left
    out, whose home and how it is told ``home_of`` knows: thousands must not wait for it. A database that is
    gone is gone for all, and raises."""
    try:
        yield do(rows)
    except (OperationalError, InterfaceError):
        raise
    except Exception:
        if len(rows) == 1:
            home, told = home_of(rows[0])
            log.exception("%s and is left out", told)
            cache.set(_HOME % home, True, _LET_BE_S)
            return
        for half in (rows[: len(rows) // 2], rows[len(rows) // 2 :]):
            yield from as_far_as_possible(half, do, home_of)


def left_out(homes: Iterable[int]) -> set[int]:
    """Those of ``homes`` that were left out of late; tried again after some minutes."""
    keys = {_HOME % home: home for home in homes}
    return {keys[key] for key in cache.get_many(keys)}
