"""What it costs a household to leave a filter in for longer, in a sentence."""

from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from scipy.special import ndtr

from schedules.explain import say_short
from schedules.models import Plan

# Standard deviations from the median to the tenth and the ninetieth in a hundred, of the normal distribution.
_TENTH = 1.2815515655446004
# Where its age sets the date, waiting is not free because it is not full.
_BY_AGE = (Plan.Reason.CALENDAR, Plan.Reason.MEDIUM)


def chance_past(plan: Plan | None, day: date) -> float | None:
    """The chance that the filter is past its limit by ``day``, None where the plan does not tell.

    The plan's three quantiles are joined by two halves of a normal curve.
    """
    if plan is None or plan.p10_on is None or plan.p50_on is None or plan.p90_on is None:
        return None
    away = (day - plan.p50_on).days
    spread = (plan.p50_on - plan.p10_on).days if away < 0 else (plan.p90_on - plan.p50_on).days
    return float(ndtr(away * _TENTH / max(spread, 1)))


def cost_of_waiting(plan: Plan | None, day: date) -> str:
    """Such as "until 30 May: there is a chance of 6 in 10 that it is too full by then"."""
    chance = chance_past(plan, day)
    said = {"day": say_short(day)}
    if plan is not None and plan.reason in _BY_AGE and plan.due_on is not None and day > plan.due_on:
        past = (day - plan.due_on).days
        if chance is None or round(10 * chance) == 0:
            text = ngettext(
                "until %(day)s: %(n)d day past the age it may reach, though not too full",
                "until %(day)s: %(n)d days past the age it may reach, though not too full",
                past,
            )
            return text % {**said, "n": past}
    if chance is None:
        return _("until %(day)s: nobody measured how full it is, and every week more costs air") % said
    tenths = round(10 * chance)
    if tenths == 0:
        return _("until %(day)s: hardly any risk") % said
    if tenths == 10:
        return _("until %(day)s: it is too full by then, and the fan moves less air") % said
    text = _("until %(day)s: there is a chance of %(n)d in 10 that it is too full by then")
    return text % {**said, "n": tenths}
