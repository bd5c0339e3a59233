"""Which branch a home belongs to: the nearest depot that is open."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from equipment.models import Desk, Site
from schedules.models import Depot
from schedules.planning.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class Branches:
    """Open depots in order of name; one nameless branch where there is none. ``own`` is the one nearest to
    the desk, for whatever has no place on record."""

    names: list[str]
    places: FloatArray
    pks: list[int]
    own: int = 0

    def of(self, latitude: FloatArray, longitude: FloatArray) -> IntArray:
        """The nearest branch [n] of each place in degrees; the own one where it is nan."""
        if not len(self.places):
            return np.zeros(len(latitude), dtype=np.int64)
        homes, depots = _directions(latitude, longitude), _directions(self.places[:, 0], self.places[:, 1])
        # On a sphere the nearest is the one whose direction has the largest product.
        nearest = np.argmax(np.nan_to_num(homes @ depots.T, nan=-2.0), axis=1)
        return np.where(np.isnan(homes).any(axis=1), self.own, nearest).astype(np.int64)

    def of_sites(self, sites: Iterable[int]) -> dict[int, int]:
        """The branch of each site by its key; one query."""
        rows = Site.objects.filter(pk__in=list(sites)).values_list("pk", "latitude", "longitude")
        told = list(rows)
        north, east = (np.array([row[n] for row in told], dtype=np.float64) for n in (1, 2))
        return {row[0]: int(branch) for row, branch in zip(told, self.of(north, east), strict=True)}


def branches(desk: Desk) -> Branches:
    """The open depots; one query."""
    rows = list(Depot.objects.filter(closed_on=None).order_by("name", "pk"))
    if not rows:
        return Branches([""], np.zeros((0, 2)), [0])
    found = Branches(
        [row.name for row in rows],
        np.array([(row.latitude, row.longitude) for row in rows]),
        [row.pk for row in rows],
    )
    own = found.of(*(np.array([value], dtype=np.float64) for value in (desk.latitude, desk.longitude)))
    return Branches(found.names, found.places, found.pks, int(own[0]))


def _directions(latitude: FloatArray, longitude: FloatArray) -> FloatArray:
    """Unit vectors [n, 3] of places in degrees; nan for unknown ones."""
    north, east = np.radians(latitude), np.radians(longitude)
    return np.column_stack([np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)])
