"""A home belongs to the nearest open depot."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.branches import Branches, branches
from schedules.models import Depot
from schedules.planning.travel import great_circle_m
from tests.factories import DepotFactory, DeskFactory, SiteFactory

places = st.tuples(st.floats(-80, 80), st.floats(-180, 180))


@pytest.mark.django_db
def test_homes_go_to_open_depots_and_without_any_they_are_one_branch() -> None:
    desk = DeskFactory(latitude=42.4, longitude=-87.8)
    near = SiteFactory(latitude=41.9, longitude=-87.6)
    lost = SiteFactory(latitude=None, longitude=None)
    both = [near.pk, lost.pk]
    assert branches(desk).of_sites(both) == {near.pk: 0, lost.pk: 0}
    north = DepotFactory(name="North", latitude=42.5, longitude=-87.8)
    south = DepotFactory(name="South", latitude=41.8, longitude=-87.6)
    assert branches(desk).pks == [north.pk, south.pk]
    assert branches(desk).of_sites(both) == {near.pk: 1, lost.pk: 0}
    Depot.objects.filter(pk=south.pk).update(closed_on=date(2026, 1, 1))
    assert branches(desk).of_sites([near.pk]) == {near.pk: 0}


@given(home=places, depots=st.lists(places, min_size=1, max_size=5))
def test_the_nearest_by_direction_is_the_nearest_by_great_circle(
    home: tuple[float, float], depots: list[tuple[float, float]]
) -> None:
    stations = np.array(depots)
    (found,) = Branches([""] * len(depots), stations, list(range(len(depots)))).of(
        np.array([home[0]]), np.array([home[1]])
    )
    every = np.array([home, *depots])
    away = great_circle_m(every[:, 0], every[:, 1])[0, 1:]
    assert away[found] <= away.min() + 1.0
