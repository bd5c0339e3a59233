"""Keys for programs on a page: shown once, listed without themselves, withdrawn by whoever may."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment import api_keys
from equipment.models import ApiKey, User
from tests.factories import NOW

pytestmark = pytest.mark.django_db
PAGE = reverse("keys")


@pytest.fixture(autouse=True)
def clock() -> object:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def status(key: str) -> int:
    return Client().get("/api/v1/sites", headers={"Authorization": f"Bearer {key}"}).status_code


def test_a_key_is_made_shown_once_and_withdrawn(manager: Client) -> None:
    page = manager.post(PAGE, {"name": "the accounts", "days": "30"}, follow=True).text
    key = re.findall(r'<code class="address">([^<]+)</code>', page)[0]
    assert status(key) == 200
    again = manager.get(PAGE).text
    assert key not in again
    assert f"<code>{key[:6]}</code>" in again
    row = ApiKey.objects.get()
    assert (row.name, row.expires_at) == ("the accounts", NOW + timedelta(days=30))
    page = manager.post(reverse("key-withdrawn", args=[row.pk]), follow=True).text
    assert "the accounts: the key opens nothing any more." in page
    assert "No key stands." in page
    assert status(key) == 401


@pytest.mark.parametrize(
    "typed", [{}, {"name": "x", "days": "0"}, {"name": "x", "days": "9999"}, {"days": "5"}]
)
def test_what_cannot_be_is_said_at_its_field(manager: Client, typed: dict[str, str]) -> None:
    answer = manager.post(PAGE, typed or {"name": ""})
    assert answer.status_code == 422
    assert 'class="error"' in answer.text
    assert not ApiKey.objects.exists()


def test_a_technician_sees_their_own_and_a_manager_everybodys(
    manager: Client, technician: Client, manager_user: User, technician_user: User
) -> None:
    theirs, mine = (api_keys.make(user, f"of {user}", NOW)[0] for user in (manager_user, technician_user))
    page = technician.get(PAGE).text
    assert "of technician" in page
    assert "of manager" not in page
    assert technician.post(reverse("key-withdrawn", args=[theirs.pk])).status_code == 404
    assert "of technician" in manager.get(PAGE).text
    manager.post(reverse("key-withdrawn", args=[mine.pk]))
    assert ApiKey.objects.get(pk=mine.pk).withdrawn_at == NOW
