"""Rounds as the map on the page reads them."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _

Place = tuple[float, float]


def map_data(rounds: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """The rounds with the words and the tiles' address that the map needs, all fit for JSON."""
    return {
        "rounds": list(rounds),
        "tiles": settings.TILES_URL,
        "credit": settings.TILES_CREDIT,
        "words": {"zoom_in": _("Nearer"), "zoom_out": _("Further away"), "start": _("Start and end")},
    }


def one_round(
    key: str, group: str, name: str, start: Sequence[float], stops: Iterable[dict[str, Any]]
) -> dict[str, Any]:
    """A round: ``key`` the id of its heading on the page, ``group`` its day, positions as latitude and
    longitude in degrees, each stop as one_stop gives it."""
    return {"key": key, "group": group, "name": name, "start": list(start), "stops": list(stops)}


def one_stop(number: int, at: Sequence[float], home: str, hours: str, address: str) -> dict[str, Any]:
    """A stop: its number, position, home, hours as people read them and the page that tells of it."""
    return {"number": number, "at": list(at), "home": home, "hours": hours, "address": address}
