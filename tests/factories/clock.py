"""The moment at which the tests stand."""

from datetime import UTC, date, datetime

NOW = datetime(2026, 5, 12, 15, tzinfo=UTC)
TODAY = date(2026, 5, 12)
