"""Dust episodes written down, ended and withdrawn; the slots that they touch are stamped."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from equipment.models import Desk, DustEpisode, FilterSlot, Site, Station, User
from equipment.models.dust import LEAST_FACTOR, MOST_FACTOR
from equipment.record import NotRecordable
from equipment.sheets.context import batches
from shared import clock

LONGEST = timedelta(days=731)


@dataclass(frozen=True)
class Dusty:
    """What to record: a kind, its first and last day, how many times the usual dust."""

    kind: str
    first_day: date
    last_day: date
    factor: float


def record_episode(what: Dusty, where: Site | Station | str, user: User | None, now: datetime) -> DustEpisode:
    """Write an episode down for a home, the homes of a station, or a town or region by name.

    Raises NotRecordable for days in the wrong order or too far apart, a factor out of range, a place where
    no home is, and the same episode twice.
    """
    _refuse_impossible(what)
    episode = DustEpisode(
        kind=what.kind, first_day=what.first_day, last_day=what.last_day, factor=what.factor,
        recorded_on=_today(now), recorded_by=user,
        site=where if isinstance(where, Site) else None,
        station=where if isinstance(where, Station) else None,
        place=" ".join(where.split()) if isinstance(where, str) else "",
    )  # fmt: skip
    if not sites_of(episode):
        raise NotRecordable(_("No home on record is there; write the town or region as the addresses do."))
    if _same(episode).exists():
        raise NotRecordable(_("That is on record already."))
    with transaction.atomic():
        episode.save()
        stamp_episode(episode, now)
    return episode


def end_episode(episode: DustEpisode, user: User | None, now: datetime) -> None:
    """It was over by the end of yesterday, or never begins: days from today on count no more."""
    if episode.ended_on is None:
        _close(episode, user, now, ended_on=_today(now) - timedelta(days=1))


def withdraw_episode(episode: DustEpisode, user: User | None, now: datetime) -> None:
    """It was a mistake: none of its days counts any more."""
    _close(episode, user, now, withdrawn_at=now)


def _close(episode: DustEpisode, user: User | None, now: datetime, **fields: date | datetime) -> None:
    if episode.withdrawn_at is not None:
        return
    with transaction.atomic():
        for name, value in fields.items():
            setattr(episode, name, value)
        episode.closed_by = user
        episode.save(update_fields=[*fields, "closed_by"])
        stamp_episode(episode, now)


def at_place(place: str, city: str, region: str) -> bool:
    """Whether ``place`` is the town, the region, or ``town, region``; capitals do not matter."""
    wanted, town, land = (" ".join(text.split()).casefold() for text in (place, city, region))
    return bool(wanted) and wanted in {town, land, f"{town}, {land}"}


def sites_of(episode: DustEpisode) -> list[int]:
    """Ids of the homes that the episode speaks of."""
    if episode.site_id is not None:
        return [episode.site_id]
    if episode.station_id is not None:
        return list(Site.objects.filter(station=episode.station_id).values_list("pk", flat=True))
    rows = Site.objects.values_list("pk", "city", "region")
    return [pk for pk, city, region in rows.iterator() if at_place(episode.place, city, region)]


def episodes_at(site: Site, since: date) -> list[DustEpisode]:
    """Episodes of the home itself, of its station and its place that last to ``since`` or longer."""
    rows = DustEpisode.objects.filter(withdrawn_at=None, last_day__gte=since)
    mine = Q(site=site) | ~Q(place="")
    if site.station_id is not None:
        mine |= Q(station=site.station_id)
    found = rows.filter(mine).select_related("site", "station")
    return [row for row in found if not row.place or at_place(row.place, site.city, site.region)]


def stamp_episode(episode: DustEpisode, now: datetime) -> None:
    """Mark all slots of its homes, for planning to take up."""
    for some in batches(sites_of(episode), 500):
        FilterSlot.objects.filter(system__site__in=some).update(facts_changed_at=now)


def _refuse_impossible(what: Dusty) -> None:
    if what.last_day < what.first_day:
        raise NotRecordable(_("It cannot end before it begins."))
    if what.last_day - what.first_day > LONGEST:
        raise NotRecordable(_("What lasts longer than two years is the usual dust of that house or place."))
    if not LEAST_FACTOR <= what.factor <= MOST_FACTOR:
        bounds = {"low": f"{LEAST_FACTOR:g}", "high": f"{MOST_FACTOR:g}"}
        raise NotRecordable(_("The dust must be between %(low)s and %(high)s times the usual.") % bounds)
    if what.factor == 1:
        raise NotRecordable(_("Once the usual dust is as usual: nothing would change."))


def _same(episode: DustEpisode) -> QuerySet[DustEpisode]:
    names = ("kind", "first_day", "last_day", "factor", "site", "station", "place")
    wanted = {name: getattr(episode, name) for name in names}
    return DustEpisode.objects.filter(**wanted, withdrawn_at=None, ended_on=None)


def _today(now: datetime) -> date:
    return clock.local_day(now, Desk.the().zone)
