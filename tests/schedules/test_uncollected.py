"""Nobody looks for rings of dead objects meanwhile, and afterwards somebody does again."""

import gc

import pytest

from schedules.uncollected import uncollected


def test_looking_stops_and_goes_on() -> None:
    assert gc.isenabled()
    with uncollected():
        assert not gc.isenabled()
        with uncollected():
            pass
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_goes_on_after_a_failure_too() -> None:
    with pytest.raises(ValueError, match="lost"), uncollected():
        raise ValueError("lost")
    assert gc.isenabled()
