"""The clock stands still where pages are looked at."""

from collections.abc import Iterator

import pytest
import time_machine

from tests.factories import NOW


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller
