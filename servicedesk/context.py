"""What every page shows: the desk's name and where its visitor may go."""

from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext as _

from equipment.models import Desk, User
from schedules.models import Technician
from servicedesk.access import may_read, who


def desk(request: HttpRequest) -> dict[str, Any]:
    """The desk and the few plain words on top that this visitor may follow."""
    user = getattr(request, "user", None)
    places = [
        ("due-list", _("Due")),
        ("visits", _("Visits")),
        ("tasks", _("Tasks")),
        ("findings", _("Findings")),
        ("promises", _("Dates right?")),
        ("hand-over", _("Hand-over")),
        ("call-list", _("To ring")),
        ("outbox", _("Letters")),
        ("sheets", _("Sheets")),
        ("home", _("My filters")),
    ]
    visitor = who(user)
    shown = [(name, word) for name, word in places if visitor & may_read(name)]
    own_day = Technician.objects.filter(user=user).first() if isinstance(user, User) else None
    return {
        "the_desk": Desk.the(),
        "places": shown,
        "may_look_up": bool(visitor & may_read("look-up")),
        "own_day": own_day,
    }
