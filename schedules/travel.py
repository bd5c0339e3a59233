"""Travel between places: from a table server at the configured address, else reckoned as the crow flies.

The server is asked in the way open routing engines agree on: ``/table/v1/driving/`` with longitude and
latitude of every place, durations in seconds and distances in metres in return, null where there is no way.
"""

import hashlib
import json
import logging
import time as clocks
from collections.abc import Sequence
from dataclasses import dataclass, replace
from http.client import HTTPException
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

import numpy as np
from django.conf import settings
from django.core.cache import cache

from schedules.models import Policy
from schedules.planning.routing.problem import Matrix
from schedules.planning.travel import estimate

log = logging.getLogger(__name__)
Place = tuple[float, float]
# Somebody may be waiting at a form: a server that does not answer soon is left alone for a while.
TIMEOUT_S = 4
# A season's places take some hundred questions.
LONGEST_S = 60
KEPT_FOR_S = 86_400
LEFT_ALONE_S = 300
_SILENT = "travel-server-silent"
# Servers of this kind take some hundred places a question; rows and columns are asked in such blocks.
BLOCK = 50
_ROUNDED = 5


@dataclass(frozen=True)
class Travel:
    """Seconds and metres between all pairs of places, None where there is no way; ``reckoned`` says why the
    table server had no say although one is named, or nothing."""

    seconds: Matrix
    metres: Matrix
    reckoned: str = ""


def travel_between(places: Sequence[Place]) -> Travel:
    """Travel between places given as latitude and longitude, at the pace that this desk's ways were observed
    to have; never fails."""
    reckoned, factor = reckoned_between(places), Policy.the().way_factor
    return reckoned if factor == 1.0 else replace(reckoned, seconds=_times(reckoned.seconds, factor))


def _times(seconds: Matrix, factor: float) -> Matrix:
    return tuple(tuple(None if one is None else round(one * factor) for one in row) for row in seconds)


def reckoned_between(places: Sequence[Place]) -> Travel:
    """Travel as the table server tells it, kept for a day, else as the crow flies; nothing observed in it."""
    if not settings.TRAVEL_URL or len(places) < 2:
        return _reckon(places)
    silent = cache.get(_SILENT)
    if silent is not None:
        return _reckon(places, silent)
    shown = [(round(latitude, _ROUNDED), round(longitude, _ROUNDED)) for latitude, longitude in places]
    key = "travel-" + hashlib.sha256(json.dumps([settings.TRAVEL_URL, shown]).encode()).hexdigest()
    kept = cache.get(key)
    if kept is not None:
        return Travel(*kept)
    try:
        seconds, metres = _ask(shown)
    except (URLError, HTTPException, OSError, ValueError, KeyError, TypeError) as error:
        log.warning("the table server at %s gave no travel times: %s", settings.TRAVEL_URL, error)
        why = f"{type(error).__name__}: {error}"
        # Nobody waits for a silent server at every booking.
        cache.set(_SILENT, why, LEFT_ALONE_S)
        return _reckon(places, why)
    cache.set(key, (seconds, metres), KEPT_FOR_S)
    return Travel(seconds, metres)


def _reckon(places: Sequence[Place], why: str = "") -> Travel:
    policy = Policy.the()
    latitude, longitude = (np.array([place[axis] for place in places], dtype=np.float64) for axis in (0, 1))
    seconds, metres = estimate(
        latitude, longitude, road_factor=policy.road_factor, speed_ms=policy.road_speed_ms
    )
    return Travel(_whole(seconds.tolist()), _whole(metres.tolist()), why)


def _whole(rows: list[list[float | None]]) -> Matrix:
    return tuple(tuple(None if value is None else round(value) for value in row) for row in rows)


def _ask(places: list[Place]) -> tuple[Matrix, Matrix]:
    """Both tables, block by block."""
    count = len(places)
    seconds: list[list[float | None]] = [[None] * count for _ in range(count)]
    metres: list[list[float | None]] = [[None] * count for _ in range(count)]
    end = clocks.monotonic() + LONGEST_S
    for rows in _blocks(count):
        for columns in _blocks(count):
            if clocks.monotonic() > end:
                raise TimeoutError(f"its tables took more than {LONGEST_S} s")
            told = _one(places, rows, columns)
            for table, name in ((seconds, "durations"), (metres, "distances")):
                _fill(table, told[name], rows, columns)
    return _whole(seconds), _whole(metres)


def _blocks(count: int) -> list[range]:
    return [range(first, min(first + BLOCK, count)) for first in range(0, count, BLOCK)]


def _one(places: list[Place], rows: range, columns: range) -> dict[str, Any]:
    asked = [*rows, *(column for column in columns if column not in rows)]
    at = {place: number for number, place in enumerate(asked)}
    where = ";".join(f"{places[place][1]},{places[place][0]}" for place in asked)
    sources = ";".join(str(at[row]) for row in rows)
    destinations = ";".join(str(at[column]) for column in columns)
    query = f"annotations=duration,distance&sources={sources}&destinations={destinations}"
    url = f"{settings.TRAVEL_URL.rstrip('/')}/table/v1/driving/{where}?{query}"
    if not url.startswith(("http://", "https://")):
        raise ValueError("its address begins neither with http:// nor with https://")
    with urlopen(url, timeout=TIMEOUT_S) as answer:  # noqa: S310
        told: Any = json.load(answer)
    if not isinstance(told, dict) or told.get("code") != "Ok":
        raise ValueError(f"it answered {str(told)[:80]}")
    return told


def _fill(
    table: list[list[float | None]], told: list[list[float | None]], rows: range, columns: range
) -> None:
    if len(told) != len(rows) or any(len(row) != len(columns) for row in told):
        raise ValueError("its table has another shape than asked for")
    for row, values in zip(rows, told, strict=True):
        for column, value in zip(columns, values, strict=True):
            if value is not None and not 0 <= value < 1e7:
                raise ValueError("its table holds what is no travel time")
            table[row][column] = value
