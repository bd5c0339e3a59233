"""Weather stations that homes rely on and that have gone quiet."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Subquery

from equipment.models import FilterSlot, Station, WeatherDay

STALE_AFTER = timedelta(days=10)


@dataclass(frozen=True)
class QuietStation:
    """A station in use and the last day it told of; None where it never told anything."""

    station: Station
    last_day: date | None


def is_stale(last_day: int, today: date) -> bool:
    """Whether a station whose last day is the ordinal ``last_day`` has gone stale by ``today``."""
    return last_day < (today - STALE_AFTER).toordinal()


def quiet_stations(today: date) -> list[QuietStation]:
    """Stations of homes with filters in use, without a day in the last ten; by name. One query."""
    last = WeatherDay.objects.filter(station=OuterRef("pk"), day__lte=today).order_by("-day").values("day")
    used = FilterSlot.objects.in_use().filter(system__site__station=OuterRef("pk"))
    rows = Station.objects.filter(Exists(used)).annotate(last_day=Subquery(last[:1])).order_by("name")
    return [
        QuietStation(row, row.last_day)
        for row in rows
        if row.last_day is None or is_stale(row.last_day.toordinal(), today)
    ]
