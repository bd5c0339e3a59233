"""Whether a technician can come on a day, and whether that suits: what cannot be, and what is asked about."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Q
from django.utils.translation import gettext as _

from equipment.models import Desk, Site
from schedules.explain import say_weekday
from schedules.models import Absence, HomeHours, Technician
from shared import clock


class NotBookable(ValueError):
    """A visit that cannot be; the message says why in plain words."""


class Unsuited(NotBookable):
    """A visit that can be, and that nobody would expect; who is sure may have it."""


@dataclass(frozen=True)
class Hours:
    """Wall-clock hours between which somebody is to come; None is open."""

    first: time | None = None
    last: time | None = None

    def meet(self, first: time | None, last: time | None) -> bool:
        """Whether some moment lies in these hours and in those."""
        starts = max(self.first or time.min, first or time.min)
        return starts <= min(self.last or time.max, last or time.max)


def refuse_unfit(technician: Technician, skills: Sequence[str], day: date, now: datetime) -> None:
    """Raise NotBookable for a technician without a skill, away or gone, and for a day that is past."""
    missing = sorted(set(skills) - set(technician.skills))
    if missing:
        others = [t.name for t in Technician.objects.filter(gone_on=None) if set(skills) <= set(t.skills)]
        who = ", ".join(others) or _("nobody at this desk")
        raise NotBookable(
            _("%(name)s does not have the skill %(skill)s; %(who)s has.")
            % {"name": technician.name, "skill": ", ".join(missing), "who": who}
        )
    if day < clock.local_day(now, Desk.the().zone):
        raise NotBookable(_("That day is past."))
    why = cannot_work(technician, day)
    if why:
        raise NotBookable(why)


def cannot_work(technician: Technician, day: date) -> str:
    """Why the technician does not work on the day at all; empty where that is possible."""
    away = Absence.objects.filter(withdrawn_at=None, first_day__lte=day, last_day__gte=day)
    if away.filter(Q(technician=technician) | Q(technician=None)).exists():
        return _("%(name)s is away on that day.") % {"name": technician.name}
    if technician.gone_on and technician.gone_on <= day:
        return _("%(name)s no longer works here on that day.") % {"name": technician.name}
    return ""


def refuse_hours(technician: Technician, hours: Hours) -> None:
    """Raise NotBookable where the technician's day and the hours asked for do not meet."""
    first = max(hours.first or time.min, technician.day_starts)
    if not hours.meet(technician.day_starts, technician.day_ends) or first == technician.day_ends:
        raise NotBookable(
            _("%(name)s works from %(starts)s to %(ends)s; the hours asked for lie outside.")
            % {
                "name": technician.name,
                "starts": f"{technician.day_starts:%H:%M}",
                "ends": f"{technician.day_ends:%H:%M}",
            }
        )


def ask_unsuited(site: Site, technician: Technician, day: date, hours: Hours) -> None:
    """Raise Unsuited for a day on which the technician usually rests, or what does not suit the home."""
    reasons = []
    said = {"name": technician.name, "day": say_weekday(day)}
    if day.weekday() not in technician.weekdays:
        reasons.append(_("%(name)s does not usually work on a %(day)s.") % said)
    suits = HomeHours.objects.filter(site=site).prefetch_related("not_by").first()
    if suits is not None and suits.weekdays and day.weekday() not in suits.weekdays:
        reasons.append(_("A %(day)s does not suit this home.") % said)
    if suits is not None and technician in suits.not_by.all():
        reasons.append(_("%(name)s is not to come to this home.") % said)
    if suits is not None and not hours.meet(suits.not_before, suits.not_after):
        reasons.append(_("The hours do not suit this home."))
    if reasons:
        raise Unsuited(" ".join(reasons))
