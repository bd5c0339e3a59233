"""Days on which work that wants it warm outdoors may be planned: by what the season lets one expect."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np

from equipment.models import Site, WeatherDay
from schedules.models import MaintenanceTask
from schedules.planning.climate import Climate, fit_climate

# Older weather says no more of the season.
_RECORD = timedelta(days=3 * 366)


class Outdoors:
    """The expected daily mean outdoors at homes, a station's climate reckoned once."""

    def __init__(self, today: date) -> None:
        self.today = today
        self._known: dict[tuple[int | None, float | None], Climate] = {}

    def too_cold(self, site: Site, tasks: Iterable[MaintenanceTask], days: Sequence[date]) -> frozenset[date]:
        """Those of the days whose expected mean lies below what one of the tasks wants."""
        bounds = [task.least_outdoors_c for task in tasks if task.least_outdoors_c is not None]
        if not bounds or not days:
            return frozenset()
        expected = self._climate(site).normal(np.array([day.toordinal() for day in days]))[0]
        return frozenset(day for day, mean in zip(days, expected, strict=True) if mean < max(bounds))

    def _climate(self, site: Site) -> Climate:
        key = (site.station_id, None if site.station_id else site.latitude)
        if key not in self._known:
            self._known[key] = self._fitted(site)
        return self._known[key]

    def _fitted(self, site: Site) -> Climate:
        first = self.today - _RECORD
        temps = np.full((1, _RECORD.days + 1), np.nan)
        rows = WeatherDay.objects.filter(station=site.station_id, day__range=(first, self.today))
        for day, mean in rows.values_list("day", "mean_temp_c"):
            temps[0, (day - first).days] = mean
        station = site.station
        latitude = site.latitude if station is None else station.latitude
        return fit_climate(temps, first.toordinal(), np.array([np.nan if latitude is None else latitude]))
