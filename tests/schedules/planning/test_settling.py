"""Rounds of messages: they end where nothing moves, a contradiction comes to rest, nobody else matters."""

import numpy as np
import pytest

from schedules.planning import settling
from schedules.planning.arrays import FloatArray
from schedules.planning.loading import Prior
from schedules.planning.pooling import Learned, learn
from tests.schedules.planning.test_loading import flat, homes, read_at

# Paces of three slots of a home, each of a past and a present life.
ALIKE = ((0.6, 0.7), (0.8, 0.5), (0.9, 0.6))
APART = ((1.8, -1.6), (-1.9, 2.0), (2.0, -2.0))


def lived(paces: tuple[tuple[float, float], ...]) -> list[list[list[tuple[float, float]]]]:
    return [[read_at(pace, 0.7, 0.2, 0.5, 0.8) for pace in lives] for lives in paces]


def of_homes(*paces: tuple[tuple[float, float], ...]) -> Learned:
    slots = [slot for home in paces for slot in lived(home)]
    places = [place for place, home in enumerate(paces) for _ in home]
    return learn(homes(places), *flat(slots), Prior())


def means(one: Learned) -> FloatArray:
    return np.asarray((one.weight * one.now).sum(axis=1))


@pytest.mark.parametrize("paces", [ALIKE, APART])
def test_what_is_held_lies_where_more_rounds_would_leave_it(
    paces: tuple[tuple[float, float], ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    rested = means(of_homes(paces))
    monkeypatch.setattr(settling, "_AT_REST", 1e-9)
    monkeypatch.setattr(settling, "_MOST_ROUNDS", 400)
    assert rested == pytest.approx(means(of_homes(paces)), abs=0.02)


def test_a_first_round_alone_would_not_have_been_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    rested = means(of_homes(APART))
    monkeypatch.setattr(settling, "_MOST_ROUNDS", 1)
    assert np.abs(means(of_homes(APART)) - rested).max() > 0.05


def test_records_that_contradict_each_other_come_to_rest_before_the_last_round(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rested = means(of_homes(APART))
    monkeypatch.setattr(settling, "_MOST_ROUNDS", settling._MOST_ROUNDS - 1)
    assert np.array_equal(means(of_homes(APART)), rested)


def test_a_home_is_held_the_same_alone_and_beside_one_that_takes_longer() -> None:
    together = of_homes(APART, ALIKE)
    assert means(together)[:3] == pytest.approx(means(of_homes(APART)), abs=1e-6)
    assert means(together)[3:] == pytest.approx(means(of_homes(ALIKE)), abs=1e-6)


def test_slots_without_readings_and_no_slots_at_all_rest_at_once() -> None:
    unread = learn(homes([0, 0, 1]), *flat([[[]], [[]], [[]]]), Prior())
    assert means(unread) == pytest.approx(float(Prior().coefficients[0]))
    assert learn(homes([]), *flat([]), Prior()).now.shape[0] == 0
