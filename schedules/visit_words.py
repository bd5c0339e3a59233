"""A visit's title: where it stands, as a sentence."""

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules.explain import say_day
from schedules.models import Visit
from schedules.visit_notices import left_out, readers_of, told_of
from schedules.visit_promises import hours_words, promise_of, still_true


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


def told_sentence(visit: Visit) -> str:
    """Whether the household knows of the open visit; empty where there is nothing to say."""
    if visit.state not in Visit.ON_A_DAY or visit.state == Visit.State.UNDER_WAY:
        return ""
    told, tz = told_of(visit), visit.site.zone(Desk.the().timezone)
    if told is not None and still_true(told, visit):
        return _("The household was told: %(when)s.") % {"when": hours_words(told, tz)}
    if left_out(visit):
        return _("It has no time in the order of its day; no letter goes out before it has one.")
    reader = readers_of([visit.site_id]).get(visit.site_id)
    if reader is None or not reader.email:
        return _("No mail address here: the household is to be rung.")
    return _("A letter will tell the household: %(when)s.") % {"when": hours_words(promise_of(visit), tz)}


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
