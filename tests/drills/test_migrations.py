"""Migrations on a filled database: forward and back, with what people hold in their hands going on."""

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.test import Client
from django.urls import reverse

from schedules.feeds import address
from schedules.models import Feed
from servicedesk.archive.tables import name_of, tables
from tests.factories import (
    DustEpisodeFactory,
    FeedFactory,
    HomeHoursFactory,
    SiteRoleFactory,
    TechnicianFactory,
    VisitJobFactory,
    every,
)

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


def test_the_histories_of_roles_hours_dust_and_jobs_begin_with_what_stands() -> None:
    role, hours, dust, job = (
        SiteRoleFactory(),
        HomeHoursFactory(weekdays=[2]),
        DustEpisodeFactory(),
        VisitJobFactory(),
    )
    hours.not_by.add(TechnicianFactory(name="Ada"))
    try:
        call_command("migrate", "schedules", "0042", verbosity=0)
        call_command("migrate", "equipment", "0019", verbosity=0)
    finally:
        call_command("migrate", verbosity=0)
    (told,) = hours.history.all()
    assert (told.weekdays, [one.technician.name for one in told.not_by.all()]) == ([2], ["Ada"])
    for row in (role, dust, job):
        (told,) = row.history.all()
        assert (told.history_type, told.instance) == ("~", row)


def steps(app: str) -> list[str]:
    return sorted(name for label, name in MigrationLoader(connection).graph.nodes if label == app)


def counts() -> dict[str, int]:
    return {name_of(model): model._base_manager.count() for model in tables()}


@pytest.mark.long
def test_every_step_goes_back_on_a_full_desk_and_forward_again() -> None:
    """To each app's first migration and back; tables that were there from the first keep their rows."""
    for factory in every():
        factory()
    before = counts()
    try:
        for app in ("schedules", "equipment"):
            for step in reversed(steps(app)[:-1]):
                call_command("migrate", app, step, verbosity=0)
    finally:
        call_command("migrate", verbosity=0)
    after = counts()
    for name in ("equipment.site", "equipment.filterslot", "equipment.reading", "schedules.visit"):
        assert after[name] == before[name] > 0
