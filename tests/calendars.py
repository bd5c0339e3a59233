"""Calendars as their readers get them, brought up to date first."""

from datetime import datetime

import icalendar

from equipment.models import Site
from schedules import feeds
from schedules.calendar_events import Owner
from schedules.models import Feed, Technician


def served(owner: Site | Technician | None, now: datetime) -> Feed:
    """The open feed of a home, a technician or, for None, the desk, as it is served at ``now``."""
    whose = Owner(
        owner if isinstance(owner, Site) else None, owner if isinstance(owner, Technician) else None
    )
    return feeds.bring_up_to_date(feeds.feed_of(whose), now)


def body(owner: Site | Technician | None, now: datetime) -> bytes:
    return served(owner, now).body.encode()


def events(owner: Site | Technician | None, now: datetime) -> dict[str, icalendar.Event]:
    """Every event by its name before the ``@``."""
    found = icalendar.Calendar.from_ical(body(owner, now)).walk("VEVENT")
    return {str(event["UID"]).split("@")[0]: event for event in found}
