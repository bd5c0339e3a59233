"""Which language somebody reads: a household the one on record, the desk's own people English."""

from django.conf import settings

from equipment.models import Person, Site, SiteRole, User


def language_of(person: Person | None) -> str:
    """The language on record for ``person`` where its texts are whole, else the desk's."""
    known = {code for code, _name in settings.LANGUAGES}
    short = person.language.split("-")[0].lower() if person else ""
    return short if short in known else settings.LANGUAGE_CODE


def language_of_user(user: User) -> str:
    """A homeowner's own; the pages of the desk's people are written in one language only."""
    return language_of(user.person) if user.is_homeowner else settings.LANGUAGE_CODE


def language_for(user: object, person: Person | None) -> str:
    """The language of a page behind a link sent to ``person``: whoever is signed in keeps theirs."""
    return language_of_user(user) if isinstance(user, User) else language_of(person)


def language_at(site: Site | None) -> str:
    """That of the household's reader; the desk's where there is no home."""
    return language_of(reader_at(site)) if site else settings.LANGUAGE_CODE


def reader_at(site: Site) -> Person | None:
    """Whoever changes the filters at ``site``; where nobody is named, whoever lives there, or owns it."""
    order = list(SiteRole.Role.values)
    order.insert(0, order.pop(order.index(SiteRole.Role.FILTER_CHANGER.value)))
    roles = site.roles.filter(until=None).select_related("person")
    first = min(roles, key=lambda role: (order.index(role.role), role.pk), default=None)
    return first.person if first else None
