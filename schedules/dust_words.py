"""Dust that counted for a filter, in sentences."""

from datetime import date

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.models import DustEpisode
from schedules.models import Plan
from schedules.planning.dust import AIR_MOST

_KINDS = {
    DustEpisode.Kind.SMOKE.value: gettext_lazy("Smoke"),
    DustEpisode.Kind.POLLEN.value: gettext_lazy("Pollen"),
    DustEpisode.Kind.RENOVATION.value: gettext_lazy("Renovation"),
    DustEpisode.Kind.OTHER.value: gettext_lazy("Other dust"),
}
_TIMES = {
    0.5: gettext_lazy("half"),
    2.0: gettext_lazy("twice"),
    3.0: gettext_lazy("three times"),
    4.0: gettext_lazy("four times"),
    5.0: gettext_lazy("five times"),
    6.0: gettext_lazy("six times"),
    8.0: gettext_lazy("eight times"),
    10.0: gettext_lazy("ten times"),
    20.0: gettext_lazy("twenty times"),
}


def say_times(factor: float) -> str:
    """Such as ``three times``; two figures at most, for nobody knows more."""
    rounded = float(f"{factor:.2g}")
    word = _TIMES.get(rounded)
    return str(word) if word else _("%(n)s times") % {"n": formats.number_format(f"{rounded:g}")}


def say_span(first: date, last: date, this_year: int) -> str:
    """Such as ``from 3 to 12 August``; with years where one is not this year."""
    way = _("j F") if first.year == last.year == this_year else _("j F Y")
    end = formats.date_format(last, way)
    if first == last:
        return _("on %(day)s") % {"day": end}
    same_month = (first.year, first.month) == (last.year, last.month)
    start = formats.date_format(first, "j" if same_month else way)
    return _("from %(first)s to %(last)s") % {"first": start, "last": end}


def dust_sentences(plan: Plan) -> list[str]:
    """What the plan's notes say of dust, a sentence each."""
    said = []
    for note in plan.notes:
        code, *parts = note.split(":")
        if code == "dust_episode":
            said.append(_episode(plan, *parts))
        elif code == "dust_air":
            said.append(_air(int(parts[0])))
    return said


def _episode(plan: Plan, kind: str, first: str, last: str, factor: str) -> str:
    span = say_span(date.fromisoformat(first), date.fromisoformat(last), plan.as_of.year)
    return _("%(what)s %(span)s counts for %(times)s the usual dust.") % {
        "what": _KINDS[kind],
        "span": span,
        "times": say_times(float(factor)),
    }


def _air(days: int) -> str:
    return ngettext(
        "On %(days)d day since this filter went in the weather station's air held more than twice its usual "
        "fine dust; it counts for more dust than usual, %(most)s at most.",
        "On %(days)d days since this filter went in the weather station's air held more than twice its usual "
        "fine dust; they count for more dust than usual, %(most)s at most.",
        days,
    ) % {"days": days, "most": say_times(AIR_MOST)}
