"""The manager's devices of a system: a key is shown once, turned and withdrawn."""

import json
import re

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Device, RuntimeDay, System
from tests.factories import FilterSlotFactory, SystemFactory
from tests.markup import tight

pytestmark = pytest.mark.django_db


@pytest.fixture
def system() -> System:
    made: System = SystemFactory()
    FilterSlotFactory(system=made)
    return made


def key_in(text: str) -> str:
    found = re.search(r'<p class="address"><strong>([\w-]{32})</strong>', tight(text))
    assert found
    return found[1]


def posts(key: str) -> int:
    batch = json.dumps({"runtime": [{"day": "2026-05-01", "fan_hours": 6.0}]})
    headers = {"Authorization": f"Bearer {key}"}
    return (
        Client()
        .generic("POST", "/api/v1/devices/batch", batch, "application/json", headers=headers)
        .status_code
    )


def test_a_key_is_shown_once_and_posts_until_it_is_turned_or_withdrawn(
    manager: Client, system: System
) -> None:
    page = manager.post(reverse("device-new", args=[system.pk]), {"name": "hall logger"}, follow=True)
    key = key_in(page.text)
    assert posts(key) == 200
    assert RuntimeDay.objects.get().fan_hours == 6.0
    again = manager.get(reverse("air-side", args=[system.pk])).text
    assert key not in again
    assert key[:6] in again
    device = Device.objects.get()
    turned = key_in(manager.post(reverse("device-turned", args=[device.pk]), follow=True).text)
    assert (posts(key), posts(turned)) == (401, 200)
    gone = manager.post(reverse("device-gone", args=[device.pk]), follow=True).text
    assert "may post no more" in gone
    assert posts(turned) == 401
    assert "make a new one" in manager.post(reverse("device-turned", args=[device.pk]), follow=True).text


def test_a_device_has_a_name(manager: Client, system: System) -> None:
    text = manager.post(reverse("device-new", args=[system.pk]), {"name": " "}, follow=True).text
    assert "Give the device a name" in text
    assert not Device.objects.exists()


def test_whoever_only_works_there_sees_no_keys(technician: Client, system: System) -> None:
    assert "Devices that post" not in technician.get(reverse("air-side", args=[system.pk])).text
