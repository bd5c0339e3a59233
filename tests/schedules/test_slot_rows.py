"""Rows of some slots, read while others write."""

from datetime import datetime, timedelta
from typing import Any

import pytest

from equipment import bulk_read
from equipment.models import FilterSlot, System
from schedules.slot_rows import slots_of

pytestmark = pytest.mark.django_db


def test_a_slot_whose_system_changes_meanwhile_is_read_with_the_stamp_before(
    home_slot: FilterSlot, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the stamp of after and the system of before, nobody would plan it again."""
    before, read = home_slot.facts_changed_at, bulk_read.objects

    def measured_meanwhile(rows: Any) -> list[Any]:
        found = read(rows)
        if rows.model is System:
            System.objects.update(return_static_pa=90.0)
            FilterSlot.objects.update(facts_changed_at=now + timedelta(minutes=1))
        return found

    monkeypatch.setattr(bulk_read, "objects", measured_meanwhile)
    (slot,) = slots_of([home_slot.system_id])
    assert slot.system.return_static_pa != 90.0
    assert slot.facts_changed_at == before
