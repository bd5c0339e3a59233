"""Which branch a home belongs to: the nearest depot that is open."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from equipment.models import Site
from schedules.models import Depot
from schedules.planning.arrays import FloatArray

Degrees = Sequence[float | None]


@dataclass(frozen=True)
class Branches:
    """The open depots by name; without any, all homes are one branch, whose key is None."""

    depots: list[Depot]

    @classmethod
    def now(cls) -> "Branches":
        """As they stand; one query."""
        return cls(list(Depot.objects.filter(closed_on=None).order_by("name")))

    @property
    def choices(self) -> list[tuple[int, str]]:
        """Key and name of each."""
        return [(depot.pk, depot.name) for depot in self.depots]

    def of_places(self, latitude: Degrees, longitude: Degrees) -> list[int | None]:
        """The branch of each place in degrees; None where there is no depot, or the place is not known."""
        homes = _directions(latitude, longitude)
        if not self.depots or not len(homes):
            return [None] * len(homes)
        stations = _directions([one.latitude for one in self.depots], [one.longitude for one in self.depots])
        # On a sphere the nearest is the one whose direction has the largest product.
        nearest = np.argmax(np.nan_to_num(homes @ stations.T, nan=-2.0), axis=1)
        return [
            self.depots[n].pk if np.isfinite(home).all() else None
            for n, home in zip(nearest, homes, strict=True)
        ]

    def of_sites(self, sites: Iterable[int] | None = None) -> dict[int, int | None]:
        """The branch of each site by its key (None: of all); one query."""
        rows = Site.objects.all() if sites is None else Site.objects.filter(pk__in=list(sites))
        told = list(rows.values_list("pk", "latitude", "longitude"))
        places = self.of_places([row[1] for row in told], [row[2] for row in told])
        return {row[0]: branch for row, branch in zip(told, places, strict=True)}


def _directions(latitude: Degrees, longitude: Degrees) -> FloatArray:
    """Unit vectors [n, 3] of places in degrees; NaN for unknown ones."""
    north, east = (np.radians(np.asarray(value, dtype=np.float64)) for value in (latitude, longitude))
    return np.column_stack([np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)])
