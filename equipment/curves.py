"""Label curves of stored media, ready for arrays of airflows."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from equipment.airside.media import LabelCurve
from equipment.models import Media, MediaPoint

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Medium:
    """A medium with its curve; ``curve`` is None when the label gives no point."""

    row: Media
    curve: LabelCurve | None


def media_with_curves(ids: Iterable[int]) -> dict[int, Medium]:
    """Media by id with their label curves, in two queries."""
    return with_curves(Media.objects.filter(pk__in=set(ids)))


def with_curves(rows: Iterable[Media]) -> dict[int, Medium]:
    """Media that were read, by id, with their label curves; one query more."""
    media = {row.pk: row for row in rows}
    points: dict[int, list[tuple[float, float]]] = defaultdict(list)
    found = MediaPoint.objects.filter(media__in=list(media)).order_by("media", "airflow_m3s")
    for pk, airflow, drop in found.values_list("media_id", "airflow_m3s", "clean_drop_pa"):
        points[pk].append((airflow, drop))
    return {pk: Medium(row, _curve(points[pk])) for pk, row in media.items()}


def _curve(points: list[tuple[float, float]]) -> LabelCurve | None:
    if not points:
        return None
    airflow, drop = (np.array(column) for column in zip(*points, strict=True))
    return LabelCurve(airflow, drop)
