"""A home in plain words: its filters by due day with their state, its people with all they are there."""

from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.models import Desk, FilterSlot, Person, Site, SiteRole
from schedules.emails import FilterLine, filter_lines
from schedules.explain import say_day, state_word
from schedules.models import Policy
from shared import clock

_ROLE_WORDS = {
    SiteRole.Role.OCCUPANT.value: gettext_lazy("lives here"),
    SiteRole.Role.OWNER.value: gettext_lazy("owns the house"),
    SiteRole.Role.BILL_PAYER.value: gettext_lazy("pays the bill"),
    SiteRole.Role.FILTER_CHANGER.value: gettext_lazy("changes the filters"),
}


@dataclass(frozen=True)
class HomeLine:
    """A filter as its home's page shows it: ``shape`` is drawn beside the word ``state``."""

    line: FilterLine
    state: str
    shape: str
    due_on: date | None


@dataclass(frozen=True)
class PersonLine:
    """Somebody and what they are at the home, such as ``lives here, changes the filters``."""

    person: Person
    roles: str


def home_lines(site: Site, now: datetime, units: str) -> list[HomeLine]:
    """The site's filters in use, the first due first, those without a date last."""
    rows = FilterSlot.objects.in_use().filter(system__site=site)
    slots = list(rows.select_related("system__site", "plan", "first_media").order_by("system__name", "name"))
    today, lead_days = clock.local_day(now, site.zone(Desk.the().timezone)), Policy.the().lead_days
    lines = []
    for line in filter_lines(slots, now, units):
        plan = getattr(line.slot, "plan", None)
        lines.append(HomeLine(line, *state_word(plan, today, lead_days), plan.due_on if plan else None))
    return sorted(lines, key=lambda row: (row.due_on is None, row.due_on or date.max))


def home_title(lines: list[HomeLine], today: date) -> str:
    """What the page answers first, as a sentence without its stop."""
    days = [row.due_on for row in lines if row.due_on]
    late = sum(day < today for day in days)
    if late:
        return ngettext("%(n)d filter waits to be changed", "%(n)d filters wait to be changed", late) % {
            "n": late
        }
    if days:
        return _("The next filter is to be changed by %(day)s") % {"day": say_day(min(days))}
    return _("No filter here has a date yet")


def person_lines(site: Site) -> list[PersonLine]:
    """The people of today, by name, each once."""
    roles = site.roles.filter(until=None).select_related("person").order_by("person__name", "person")
    words: dict[Person, list[str]] = {}
    for role in roles:
        words.setdefault(role.person, []).append(role.role)
    order = list(_ROLE_WORDS)
    return [
        PersonLine(person, ", ".join(str(_ROLE_WORDS[role]) for role in sorted(held, key=order.index)))
        for person, held in words.items()
    ]
