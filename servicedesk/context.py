"""What every page shows: the desk's name and where its visitor may go."""

from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from equipment.models import Desk, User
from schedules import due
from schedules.contacts import Contacts
from schedules.models import Technician
from schedules.way_in import WaysIn
from servicedesk.access import STAFF, may_read, who

# So many places stand beside the name; the rest are behind one word.
AT_HAND = 5
_PLACES = [
    ("due-list", _("Due")),
    ("visits", _("Visits")),
    ("rounds", _("Rounds")),
    ("findings", _("Findings")),
    ("call-list", _("To ring")),
    ("season", _("Season")),
    ("hand-over", _("Hand-over")),
    ("tasks", _("Tasks")),
    ("people", _("Technicians")),
    ("outbox", _("Letters")),
    ("sheets", _("Sheets")),
    ("to-buy", _("To buy")),
    ("figures", _("Figures")),
    ("promises", _("Dates right?")),
    ("home", _("My filters")),
]


def desk(request: HttpRequest) -> dict[str, Any]:
    """The desk and the few plain words on top that this visitor may follow."""
    user = getattr(request, "user", None)
    visitor, row = who(user), Desk.the()
    shown = [(name, word) for name, word in _PLACES if visitor & may_read(name)]
    own_day = Technician.objects.filter(user=user).first() if isinstance(user, User) else None
    return {
        "the_desk": row,
        "places": shown[:AT_HAND],
        "more_places": shown[AT_HAND:],
        "in_more_places": _here(request) in {name for name, _word in shown[AT_HAND:]},
        "may_look_up": bool(visitor & may_read("look-up")),
        "own_day": own_day,
        "day_ends_ms": _day_ends_ms(row) if visitor & STAFF else "",
        "ways_in": WaysIn(user, timezone.now()),
        "contacts": Contacts(user, timezone.now()),
        "units": (user.units if isinstance(user, User) else "") or row.units,
    }


def _day_ends_ms(row: Desk) -> int:
    """The end of the desk's day in epoch milliseconds: until then a page may show how to get in."""
    return round(due.end_of_today(timezone.now(), row).timestamp() * 1000)


def _here(request: HttpRequest) -> str:
    match = getattr(request, "resolver_match", None)
    return match.url_name or "" if match else ""
