"""Stations' days as arrays, read once for all batches."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

import numpy as np

from equipment.models import Site, WeatherDay
from equipment.stations import is_stale
from schedules.lives import SlotFacts, or_nan
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.facts import Weather


class WeatherRecord:
    """What is known of the weather up to a day."""

    def __init__(self, as_of: date) -> None:
        self.as_of = as_of
        self._last = as_of.toordinal()
        # First day and temperatures from it to the as-of day, and the last day on record.
        self._known: dict[int, tuple[int, FloatArray]] = {}
        self._heard: dict[int, int] = {}

    def arrays(self, sites: Sequence[Site]) -> tuple[Weather, IntArray]:
        """One row a station, and one for each place without a station by whole degree of latitude; and the
        row of each site."""
        rows: dict[tuple[str, int], int] = {}
        latitudes: list[float] = []
        of_site = []
        for site in sites:
            latitude = site.station.latitude if site.station else or_nan(site.latitude)
            key = _key(site, latitude)
            if key not in rows:
                rows[key] = len(rows)
                latitudes.append(latitude)
            of_site.append(rows[key])
        stations = {pk: row for (kind, pk), row in rows.items() if kind == "station"}
        self._read(stations)
        weather = self._together(stations, len(rows), np.array(latitudes, dtype=np.float64))
        return weather, np.array(of_site, dtype=np.int64)

    def note_stale(self, slots: Iterable[SlotFacts]) -> None:
        """Note the slots whose station has no day on record, or has gone quiet."""
        for slot in slots:
            station = slot.site.station_id
            if station is None:
                continue
            if station not in self._heard:
                slot.notes.append("station_unfed")
            elif is_stale(self._heard[station], self.as_of):
                slot.notes.append("stale_station")

    def _together(self, stations: Mapping[int, int], count: int, latitudes: FloatArray) -> Weather:
        known = {row: self._known[pk] for pk, row in stations.items()}
        first = min((day for day, _temps in known.values()), default=self._last)
        temps = np.full((count, self._last - first + 1), np.nan)
        for row, (day, values) in known.items():
            temps[row, day - first :] = values
        return Weather(first, temps, latitudes)

    def _read(self, stations: Iterable[int]) -> None:
        fresh = [pk for pk in stations if pk not in self._known]
        if not fresh:
            return
        by_station: dict[int, dict[int, float]] = {pk: {} for pk in fresh}
        rows = WeatherDay.objects.filter(station__in=fresh, day__lte=self.as_of)
        for station, day, temperature in rows.values_list("station_id", "day", "mean_temp_c"):
            by_station[station][day.toordinal()] = temperature
        for pk, days in by_station.items():
            first = min(days, default=self._last)
            temps = np.full(self._last - first + 1, np.nan)
            if days:
                temps[np.fromiter(days, np.int64, len(days)) - first] = list(days.values())
                self._heard[pk] = max(days)
            self._known[pk] = first, temps


def _key(site: Site, latitude: float) -> tuple[str, int]:
    if site.station_id:
        return "station", site.station_id
    return "place", round(float(np.nan_to_num(latitude)))
