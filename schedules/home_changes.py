"""What changes at a home: who lives there and what for, and events of its record with what they end."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from equipment.life import Happening, end_roles, record_event
from equipment.models import FilterSlot, Person, Site, SiteRole, User
from schedules import due, feeds, visits
from schedules.models import HomeHours, Wish
from schedules.wishes import note_texts


def move_in(site: Site, somebody: Person, roles: Iterable[str], now: datetime) -> Person:
    """Put somebody on record at the site; a new filter changer follows the old one."""
    wanted, today = list(roles), due.today(now)
    with transaction.atomic():
        somebody.save()
        if somebody.text_consent_at:
            note_texts([somebody.pk], now, Wish.How.DESK, somebody.text_consent_how, wanted=True)
        if SiteRole.Role.FILTER_CHANGER in wanted:
            end_roles(SiteRole.objects.filter(site=site, role=SiteRole.Role.FILTER_CHANGER), today)
        for role in wanted:
            SiteRole.objects.create(site=site, person=somebody, role=role)
    return somebody


def hours_of(site: Site) -> HomeHours:
    """What suits the home as it stands, unsaved where nothing was written down yet."""
    return HomeHours.objects.filter(site=site).first() or HomeHours(site=site)


@dataclass(frozen=True)
class Ended:
    """How many visits were called off with an event, and whether a calendar's address ended."""

    visits: int
    feeds: bool


def happen(site: Site, happening: Happening, user: User, now: datetime) -> Ended:
    """Record an event and end what goes with it. Raises NotRecordable."""
    record_event(site, happening, user, now)
    due.replan(now, FilterSlot.objects.filter(system__site=site))
    off = visits.drop_gone(site)
    return Ended(off, bool(feeds.withdraw_left(now)))
