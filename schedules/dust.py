"""Dust on record as arrays for the engine: episodes that people told of, and fine dust at stations."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np

from equipment import bulk_read
from equipment.dust import at_place
from equipment.models import AirDay, DustEpisode, Site
from schedules.lives import SlotFacts
from schedules.planning.arrays import FloatArray
from schedules.planning.climate import day_of
from schedules.planning.dust import Spell, air_factors, counting, day_factors
from schedules.planning.interval import NEVER

# A day's mean from fewer hours than three in four is no mean of the day.
ENOUGH_HOURS = 18
DAYS_AHEAD = 365
MOST_NOTES = 5
_FINE_DUST_IS = DustEpisode.Kind.SMOKE.value


class DustRecord:
    """What is known of dust on a day: later days only as far as they were announced by then."""

    def __init__(self, as_of: date) -> None:
        self.as_of = as_of
        self._last = as_of.toordinal()
        self._air: dict[int, tuple[int, FloatArray]] = {}

    def arrays(
        self, slots: Sequence[SlotFacts], systems: Sequence[int], first_day: int
    ) -> tuple[FloatArray | None, FloatArray | None]:
        """Factors [systems, days] from ``first_day`` to the as-of day and [systems, 365] after it, and each
        slot's own spells and dusty days told to it; None where all dust is as usual."""
        sites = {slot.row.system_id: slot.site for slot in slots}
        spells = self._spells({site.pk: site for site in sites.values()})
        self._read_air(_stations(sites.values()))
        quiet = not spells and all((self._air[pk][1] == 1).all() for pk in _stations(sites.values()))
        if quiet:
            return None, None
        days = self._last - first_day + 1
        past, ahead = np.ones((len(systems), days)), np.ones((len(systems), DAYS_AHEAD))
        for row, pk in enumerate(systems):
            site = sites[pk]
            measured = self._measured(site.station_id, first_day, days)
            if spells[site.pk] or measured:
                past[row] = day_factors(spells[site.pk], first_day, days, measured)
                ahead[row] = day_factors(spells[site.pk], self._last + 1, DAYS_AHEAD)
        for slot in slots:
            self._tell(slot, spells[slot.system.site_id])
        if (past == 1).all() and (ahead == 1).all():
            return None, None
        return past, ahead

    def _spells(self, sites: dict[int, Site]) -> dict[int, list[Spell]]:
        """The episodes of each site, as far as they were known on the as-of day."""
        rows = DustEpisode.objects.filter(withdrawn_at=None)
        episodes = [*rows.filter(site=None), *bulk_read.among(rows, "site_id", sites)]
        found: dict[int, list[Spell]] = defaultdict(list)
        for episode in sorted(episodes, key=lambda episode: (episode.first_day, episode.pk)):
            spell = self._known(episode)
            if spell is not None:
                for pk in _touched(episode, sites.values()):
                    found[pk].append(spell)
        return found

    def _known(self, episode: DustEpisode) -> Spell | None:
        ended = episode.ended_on is not None and episode.ended_on < self.as_of
        last = episode.last_counted if ended else episode.last_day
        if episode.recorded_on > self.as_of:
            last = min(last, self.as_of)
        if last < episode.first_day:
            return None
        return Spell(episode.kind, episode.first_day.toordinal(), last.toordinal(), episode.factor)

    def _read_air(self, stations: set[int]) -> None:
        fresh = stations - self._air.keys()
        by_station: dict[int, dict[int, float]] = {pk: {} for pk in fresh}
        rows = AirDay.objects.filter(station__in=fresh, day__lte=self.as_of, hours__gte=ENOUGH_HOURS)
        for station, day, mean in rows.values_list("station", "day", "pm25_ugm3"):
            by_station[station][day.toordinal()] = mean
        for pk, known in by_station.items():
            first = min(known, default=self._last)
            means = np.full(self._last - first + 1, np.nan)
            for ordinal, mean in known.items():
                means[ordinal - first] = mean
            self._air[pk] = first, air_factors(means)

    def _measured(self, station: int | None, first_day: int, days: int) -> dict[str, FloatArray]:
        """Factors by day of the station's fine dust; nothing where it never was unusual."""
        if station is None:
            return {}
        first, factors = self._air[station]
        out = np.ones(days)
        start = max(first, first_day)
        if start <= self._last:
            out[start - first_day :] = factors[start - first :]
        return {} if (out == 1).all() else {_FINE_DUST_IS: out}

    def _tell(self, slot: SlotFacts, spells: list[Spell]) -> None:
        began = int(slot.now.began)
        slot.spells = [spell for spell in spells if spell.last >= began]
        station = slot.site.station_id
        if station is not None:
            first, factors = self._air[station]
            slot.dusty_days = int((factors[max(began - first, 0) :] != 1).sum())


def dust_notes(slot: SlotFacts, last_day: int) -> list[str]:
    """Codes of the dust that counts for the filter in the slot up to ``last_day`` (an ordinal or NEVER)."""
    counted = [spell for spell in counting(slot.spells) if last_day == NEVER or spell.first <= last_day]
    notes = [
        f"dust_episode:{spell.kind}:{day_of(spell.first)}:{day_of(spell.last)}:{spell.factor:g}"
        for spell in counted[-MOST_NOTES:]
    ]
    return [*notes, *([f"dust_air:{slot.dusty_days}"] if slot.dusty_days else [])]


def _stations(sites: Iterable[Site]) -> set[int]:
    return {site.station_id for site in sites if site.station_id}


def _touched(episode: DustEpisode, sites: Iterable[Site]) -> list[int]:
    if episode.site_id is not None:
        return [episode.site_id]
    if episode.station_id is not None:
        return [site.pk for site in sites if site.station_id == episode.station_id]
    return [site.pk for site in sites if at_place(episode.place, site.city, site.region)]
