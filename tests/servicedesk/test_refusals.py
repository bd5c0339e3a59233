"""Days and figures that no desk has, refused in plain words."""

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot
from tests.factories import TechnicianFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "2026-02-30", "tomorrow"])
def test_a_day_that_no_desk_has_is_not_found(day: str, manager: Client) -> None:
    technician = TechnicianFactory()
    assert manager.get(reverse("day", args=[technician.pk, day])).status_code == 404
    assert manager.post(reverse("day-order", args=[technician.pk, day])).status_code == 404


def test_senseless_figures_are_refused_in_plain_words(manager: Client, home_slot: FilterSlot) -> None:
    site, system = home_slot.system.site_id, home_slot.system_id
    for address, data, words in (
        (reverse("site-event", args=[site]), {"kind": "vacant", "on": "0001-01-01"}, "between 1950 and 2100"),
        (
            reverse("filter-reading", args=[home_slot.pk]),
            {"filter_drop": "0.3", "airflow": "1e300"},
            "must be at most",
        ),
        (reverse("tasks"), {"system": system, "name": "x", "interval_days": "999999999"}, "longer than any"),
        (reverse("tasks"), {"system": system, "name": "x", "interval_fan_hours": "1e300"}, "longer than any"),
    ):
        response = manager.post(address, data)
        assert response.status_code == 422
        assert words in response.text
