"""Addresses of calendars that are in use, through the change that keeps their prints alone, and back."""

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse

from schedules.feeds import address
from schedules.models import Feed
from tests.factories import FeedFactory

pytestmark = pytest.mark.django_db(transaction=True)


def table(words: str, *told: str) -> list[tuple[str, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(words, told)
        return cursor.fetchall() if cursor.description else []


def test_what_people_subscribed_to_goes_on_answering() -> None:
    FeedFactory.create_batch(2)
    try:
        call_command("migrate", "schedules", "0037", verbosity=0)
        old = [row[0] for row in table("SELECT secret FROM schedules_feed ORDER BY id")]
        assert len(set(old)) == 2
        call_command("migrate", "schedules", "0038", verbosity=0)
    finally:
        call_command("migrate", verbosity=0)
    for feed, secret in zip(Feed.objects.order_by("pk"), old, strict=True):
        assert Client().get(reverse("feed", args=[secret])).status_code == 200
        assert address(feed) == feed.secret == ""
        assert secret not in str(vars(feed))
