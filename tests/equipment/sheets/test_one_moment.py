"""Sheets of one moment, while others write."""

import threading
from collections.abc import Callable

import pytest
from django.db import connection

from equipment.models import Media
from equipment.sheets.exporter import sheets_out
from equipment.sheets.one_moment import one_moment
from tests.factories import MediaFactory, MediaPointFactory

pytestmark = pytest.mark.django_db(transaction=True)


def elsewhere(work: Callable[[], object]) -> None:
    """Do the work on a connection of its own."""

    def run() -> None:
        work()
        connection.close()

    thread = threading.Thread(target=run)
    thread.start()
    thread.join(30)
    assert not thread.is_alive()


def test_what_is_stored_meanwhile_is_in_no_sheet() -> None:
    MediaPointFactory(media=MediaFactory(name="first"))
    rows = {}
    for sheet in sheets_out():
        rows[sheet.name] = list(sheet.rows)
        if sheet.name == "media.csv":
            elsewhere(lambda: MediaPointFactory(media=MediaFactory(name="second")))
    assert len(rows["media.csv"]) == len(rows["media_points.csv"]) == 1
    assert Media.objects.count() == 2


def test_a_block_that_is_left_early_leaves_nothing_open() -> None:
    MediaFactory(name="first")
    sheets = sheets_out()
    next(sheets)
    sheets.close()
    elsewhere(lambda: MediaFactory(name="second"))
    assert Media.objects.count() == 2


def test_a_block_that_fails_leaves_nothing_open() -> None:
    def fail() -> None:
        with one_moment():
            assert Media.objects.count() == 1 / 0

    with pytest.raises(ZeroDivisionError):
        fail()
    MediaFactory()
    assert Media.objects.count() == 1
