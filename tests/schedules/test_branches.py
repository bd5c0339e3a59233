"""A home belongs to the nearest open depot."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.branches import Branches
from schedules.models import Depot
from schedules.planning.travel import great_circle_m
from tests.factories import DepotFactory, SiteFactory

places = st.tuples(st.floats(-80, 80), st.floats(-180, 180))


@pytest.mark.django_db
def test_homes_go_to_open_depots_and_without_any_they_are_one_branch() -> None:
    near = SiteFactory(latitude=41.9, longitude=-87.6)
    lost = SiteFactory(latitude=None, longitude=None)
    assert Branches.now().of_sites() == {near.pk: None, lost.pk: None}
    north = DepotFactory(name="North", latitude=42.5, longitude=-87.8)
    south = DepotFactory(name="South", latitude=41.8, longitude=-87.6)
    assert Branches.now().of_sites() == {near.pk: south.pk, lost.pk: None}
    Depot.objects.filter(pk=south.pk).update(closed_on=date(2026, 1, 1))
    assert Branches.now().of_sites([near.pk]) == {near.pk: north.pk}


@given(home=places, depots=st.lists(places, min_size=1, max_size=5))
def test_the_nearest_by_direction_is_the_nearest_by_great_circle(
    home: tuple[float, float], depots: list[tuple[float, float]]
) -> None:
    rows = [Depot(pk=n, name=str(n), latitude=lat, longitude=lon) for n, (lat, lon) in enumerate(depots)]
    (found,) = Branches(rows).of_places([home[0]], [home[1]])
    every = np.array([home, *depots])
    away = great_circle_m(every[:, 0], every[:, 1])[0, 1:]
    assert found is not None
    assert away[found] <= away.min() + 1.0
