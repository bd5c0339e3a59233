"""A visit's title: where it stands, as a sentence."""

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from schedules.explain import say_day
from schedules.models import Visit


def visit_sentence(visit: Visit) -> str:
    """Who comes where and when, or how the visit ended; times in the active zone."""
    state = Visit.State(visit.state)
    if state in Visit.ON_A_DAY:
        return _coming(visit, state)
    text = {
        Visit.State.DUE: _("%(place)s waits for a day"),
        Visit.State.DISPLACED: _("%(place)s needs another day"),
        Visit.State.COMPLETED: _("%(place)s was visited on %(ended)s"),
        Visit.State.NO_ACCESS: _("Nobody opened at %(place)s on %(ended)s"),
        Visit.State.CANCELLED: _("The visit to %(place)s was called off"),
    }[state]
    ended = timezone.localtime(visit.completed_at).date() if visit.completed_at else visit.day
    return text % {"place": _place(visit), "ended": say_day(ended)}


def _coming(visit: Visit, state: Visit.State) -> str:
    said = {"who": visit.technician, "place": _place(visit), "day": say_day(visit.day)}
    if state is Visit.State.UNDER_WAY:
        return _("%(who)s is at %(place)s") % said
    if visit.arrive_at is None:
        return _("%(who)s comes to %(place)s on %(day)s") % said
    said["at"] = formats.date_format(timezone.localtime(visit.arrive_at), "H:i")
    return _("%(who)s comes to %(place)s on %(day)s at about %(at)s") % said


def _place(visit: Visit) -> str:
    return visit.site.address or visit.site.name
