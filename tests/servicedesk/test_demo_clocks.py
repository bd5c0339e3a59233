"""The demo on machines whose clock stands far from the day that its sheets were written for."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from equipment.models import FilterSlot, Reading
from schedules.models import Plan
from servicedesk import demo


@pytest.mark.long
@pytest.mark.django_db
@pytest.mark.parametrize(
    "now",
    [datetime(2025, 3, 1, 15, tzinfo=UTC), datetime(2028, 1, 1, 15, tzinfo=UTC)],
    ids=["far behind", "far ahead"],
)
def test_the_demo_loads_whatever_the_clock_says(now: datetime, settings: Any, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path
    assert "60 homes" in demo.load(now)
    assert FilterSlot.objects.count() == 120
    assert not Reading.objects.filter(taken_at__gt=now).exists()
    assert Plan.objects.filter(due_on__gte=now.date()).count() > 30
