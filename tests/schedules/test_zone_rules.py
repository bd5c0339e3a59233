"""VTIMEZONE as rules: every hour of years to come is the hour that the zone itself shows."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical

from schedules.zone_rules import zone_rules

ZONES = ("America/Chicago", "America/Phoenix", "Europe/Berlin", "Australia/Sydney", "America/St_Johns")


@pytest.mark.parametrize("key", [*ZONES, "Africa/Casablanca"])
def test_another_reader_of_the_rules_shows_the_zones_own_hours(key: str) -> None:
    text = zone_rules(key, 2026).decode().replace("\r\n ", "")
    read, zone = tzical(StringIO(text)).get(key), ZoneInfo(key)
    at = datetime(2026, 1, 1, tzinfo=UTC)
    while at.year < 2029:
        local = at.astimezone(zone)
        # What the clocks show twice is one hour to a calendar.
        if not local.fold:
            assert local.replace(tzinfo=read).utcoffset() == local.utcoffset(), local
        at += timedelta(hours=5)


@pytest.mark.parametrize("key", ["America/Chicago", "Europe/Berlin", "Australia/Sydney"])
def test_rules_that_hold_are_written_as_rules(key: str) -> None:
    text = zone_rules(key, 2026).decode()
    assert text.count("RRULE:FREQ=YEARLY") == 2
    assert "RDATE" not in text
