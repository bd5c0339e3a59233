"""Work that makes millions of small objects, none of which hold each other in rings."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Let nobody look for rings of dead objects meanwhile: what is read of some homes dies by its counts
    alone, and to look through it again and again took a fifth of the night.

    Where somebody has turned it off already, it stays off.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
