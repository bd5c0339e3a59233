"""The visit's form: every fault at once."""

import pytest

from equipment.models import FilterSlot
from schedules.forms import JobFilterForm


@pytest.mark.django_db
def test_impossible_readings_are_told_together_with_the_other_faults(home_slot: FilterSlot) -> None:
    typed = {"medium": "999", "drop_before": "12", "drop_after": "much", "airflow": "0"}
    form = JobFilterForm(
        home_slot, "ip", {f"slot{home_slot.pk}-{name}": value for name, value in typed.items()}
    )
    assert set(form.errors) == set(typed)
    assert "at most 10" in form.errors["drop_before"][0]
