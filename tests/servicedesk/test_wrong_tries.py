"""Tries that open nothing are counted by where they come from, and put off."""

from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pytest_django.fixtures import Settings

from equipment import api_keys
from equipment.models import User
from schedules.models import Feed
from servicedesk import wrong_tries
from tests.factories import NOW, FeedFactory

pytestmark = pytest.mark.django_db
NOWHERE = reverse("feed", args=["none-of-ours"])


@pytest.fixture(autouse=True)
def few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wrong_tries, "MOST_WRONG", 3)


def statuses(client: Client, address: str, times: int, **headers: str) -> list[int]:
    return [client.get(address, headers=headers).status_code for _ in range(times)]


def test_after_some_wrong_links_an_address_is_put_off_with_words(stranger: Client) -> None:
    assert statuses(stranger, NOWHERE, 4) == [404, 404, 404, 429]
    refused = stranger.get(reverse("tag", args=["ABCDEFGH"]), headers={"Accept-Language": "es"})
    assert (refused.status_code, refused["Retry-After"]) == (429, "600")
    assert "Espere diez minutos" in refused.text
    # What needs no secret is open as ever.
    assert stranger.get(reverse("sign-in")).status_code == 200


def test_the_time_of_it_passes(stranger: Client) -> None:
    with time_machine.travel(NOW, tick=False) as clock:
        assert statuses(stranger, NOWHERE, 4)[-1] == 429
        clock.shift(timedelta(seconds=wrong_tries.WITHIN_S + 1))
        assert stranger.get(NOWHERE).status_code == 404


def test_what_opens_or_was_genuine_once_counts_for_nothing(stranger: Client) -> None:
    feed = FeedFactory()
    address = reverse("feed", args=[feed.secret])
    assert statuses(stranger, address, 5) == [200] * 5
    Feed.objects.update(withdrawn_at=NOW)
    assert statuses(stranger, address, 5) == [410] * 5
    assert stranger.get(NOWHERE).status_code == 404


def test_wrong_keys_of_programs_are_problems_in_their_own_words(stranger: Client, manager_user: User) -> None:
    assert statuses(stranger, "/api/v1/sites", 5) == [401] * 5  # no key at all
    assert statuses(stranger, "/api/v1/sites", 4, Authorization="Bearer x") == [401, 401, 401, 429]
    key = api_keys.make(manager_user, "a script", NOW)[1]
    answer = stranger.get("/api/v1/sites", headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code == 429
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["Retry-After"] == "600"


def test_keys_that_stood_once_count_for_nothing_and_links_apart_from_keys(
    stranger: Client, manager_user: User
) -> None:
    row, key = api_keys.make(manager_user, "a script", NOW)
    api_keys.withdraw(row, NOW)
    assert statuses(stranger, "/api/v1/sites", 5, Authorization=f"Bearer {key}") == [401] * 5
    assert statuses(stranger, "/api/v1/sites", 4, Authorization="Bearer x") == [401, 401, 401, 429]
    assert statuses(stranger, NOWHERE, 4) == [404, 404, 404, 429]
    spent = reverse("sign-in-by-link") + "?sesame=none"
    assert statuses(stranger, spent, 5) == [410] * 5


def test_a_household_has_one_network_of_the_sixth_version(stranger: Client, settings: Settings) -> None:
    settings.PROXIES = 1
    found = [
        statuses(stranger, NOWHERE, 1, **{"X-Forwarded-For": f"2001:db8:1:2::{n}"})[0] for n in range(1, 5)
    ]
    assert found == [404, 404, 404, 429]
    assert statuses(stranger, NOWHERE, 1, **{"X-Forwarded-For": "2001:db8:1:3::1"}) == [404]


def test_behind_a_proxy_each_is_counted_apart_and_nobody_can_say_they_are_another(
    stranger: Client, settings: Settings
) -> None:
    settings.PROXIES = 1
    one, other = {"X-Forwarded-For": "made-up, 192.0.2.1"}, {"X-Forwarded-For": "192.0.2.1, 192.0.2.2"}
    assert statuses(stranger, NOWHERE, 4, **one) == [404, 404, 404, 429]
    assert statuses(stranger, NOWHERE, 1, **{"X-Forwarded-For": "192.0.2.7, 192.0.2.1"}) == [429]
    assert statuses(stranger, NOWHERE, 1, **other) == [404]
    # A proxy that says nothing would have everybody shut out together.
    assert statuses(stranger, NOWHERE, 6) == [404] * 6
