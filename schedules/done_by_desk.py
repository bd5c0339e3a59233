"""What the desk wrote down of a home, by the histories of its rows: who is what there, what suits it, its
dust. For managers: a household is not told of those who lived there before.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.utils.translation import gettext as _

from equipment.models import DustEpisode, Site, SiteRole
from schedules.done_entry import Entry, written
from schedules.explain import say_day
from schedules.models import HomeHours
from schedules.round_forms import WEEKDAYS
from shared import clock

# Who was not to come there, by the row of the history.
_NOT_BY = partial(apps.get_model, "schedules", "HistoricalHomeHours_not_by")


def roles(site: Site, zone: ZoneInfo) -> Iterator[Entry]:
    """Who came to be what at the home, and who is so no more."""
    rows = SiteRole.history.filter(site=site).select_related("person", "history_user__person")
    for row in rows:
        said = {"name": row.person.name, "role": row.get_role_display()}
        if row.history_type == "+":
            yield _entry(row, zone, _("%(name)s is on record as %(role)s") % said)
        elif row.until is not None:
            said["day"] = say_day(row.until)
            yield _entry(row, zone, _("%(name)s is %(role)s no more from %(day)s on") % said)


def hours(site: Site, zone: ZoneInfo) -> Iterator[Entry]:
    """What suits the home, each time that it was written down anew."""
    rows, not_by = HomeHours.history.filter(site=site), defaultdict[int, list[str]](list)
    for row, name in _NOT_BY().objects.filter(history__site=site).values_list("history", "technician__name"):
        not_by[row].append(name)
    told = rows.select_related("history_user__person")
    yield from _anew(told, zone, lambda row: _hours_words(row, sorted(not_by[row.pk])))


def _hours_words(row: Any, not_by: list[str]) -> str:
    names = dict(WEEKDAYS)
    days = ", ".join(str(names[day]) for day in row.weekdays if day in names) or _("any day")
    said = [days]
    if row.not_before:
        said.append(_("not before %(hour)s") % {"hour": f"{row.not_before:%H:%M}"})
    if row.not_after:
        said.append(_("not after %(hour)s") % {"hour": f"{row.not_after:%H:%M}"})
    if not_by:
        said.append(_("not by %(names)s") % {"names": ", ".join(not_by)})
    return _("What suits the home: %(what)s") % {"what": "; ".join(said)}


def dust(site: Site, zone: ZoneInfo) -> Iterator[Entry]:
    """Spells of unusual dust at the home, as they were written down, ended and taken back."""
    of_home = DustEpisode.history.filter(site=site).select_related("history_user__person")
    for pk in sorted(set(of_home.values_list("id", flat=True))):
        yield from _anew([row for row in of_home if row.id == pk], zone, _dust_words)


def _dust_words(row: Any) -> str:
    said = {
        "what": row.get_kind_display(), "times": f"{row.factor:g}",
        "first": say_day(row.first_day), "last": say_day(row.last_day),
    }  # fmt: skip
    words = _("Dust: %(what)s, %(times)s times the usual from %(first)s to %(last)s") % said
    words += _("; over after %(day)s") % {"day": say_day(row.ended_on)} if row.ended_on else ""
    return words + (_("; a mistake") if row.withdrawn_at else "")


def _anew(rows: Any, zone: ZoneInfo, words: Callable[[Any], str]) -> Iterator[Entry]:
    """An entry for each row of a history that says other than the one before it."""
    before = ""
    for row in sorted(rows, key=lambda row: row.history_id):
        said = words(row)
        if said != before:
            yield _entry(row, zone, said)
        before = said


def _entry(row: Any, zone: ZoneInfo, said: str) -> Entry:
    day = clock.local_day(row.history_date, zone)
    return Entry(day, "", said, "", written(row.history_date, row.history_user, zone))
