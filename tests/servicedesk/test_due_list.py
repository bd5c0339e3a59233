"""What the due list's title counts, beside the rows below it."""

import csv
import io
import re
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial

import pytest
import time_machine
from django.core.cache import cache
from django.db.models import QuerySet
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from equipment.models import FilterSlot, Site, User
from schedules import due
from schedules.models import Plan, Technician
from servicedesk.views import due_list
from tests.factories import (
    NOW,
    TODAY,
    FilterSlotFactory,
    PlanFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
)
from tests.markup import tight

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def long_list(manager: Client) -> Client:
    """A manager with 63 filters: 5 due this week, 58 next year."""
    system = SystemFactory(site__city="Riverton")
    for number in range(63):
        day = TODAY + timedelta(days=3 if number < 5 else 300)
        PlanFactory(slot=FilterSlotFactory(system=system), due_on=day)
    return manager


def title_and_rows(client: Client, **query: object) -> tuple[str, int]:
    text = tight(client.get("/due/", query).text)
    title = re.search(r'<h1 id="said">([^<]+)</h1>', text)
    assert title
    rows = re.search(r'<p class="small faint">((?:Rows|The whole)[^<]+)</p>', text)
    return f"{title[1]}. {rows[1]}" if rows else title[1], len(re.findall(r'<li><div class="when">', text))


def test_the_title_says_which_rows_of_how_many_are_below_it(long_list: Client) -> None:
    said = "5 filters are due before 27 May 2026"
    assert title_and_rows(long_list) == (f"{said}. Rows 1 to 60 of 63.", 60)
    assert title_and_rows(long_list, page=2) == (f"{said}. Rows 61 to 63 of 63.", 3)


def test_a_large_desk_counts_once_a_minute_and_shows_the_same_rows(
    long_list: Client, standing_clock: time_machine.Traveller, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = title_and_rows(long_list)
    monkeypatch.setattr(due, "LARGE", 0)
    assert title_and_rows(long_list) == small
    slot = FilterSlot.objects.earliest("plan__due_on")
    Plan.objects.filter(slot=slot).delete()
    assert title_and_rows(long_list)[0] == small[0]
    standing_clock.shift(timedelta(seconds=61))
    behind: list[Callable[[], object]] = []
    monkeypatch.setattr(due_list, "behind_the_page", lambda work, *args: behind.append(partial(work, *args)))
    assert title_and_rows(long_list)[0] == small[0]
    for work in behind:
        work()
    assert title_and_rows(long_list) == ("4 filters are due before 27 May 2026. Rows 1 to 60 of 62.", 60)


def test_a_first_count_waits_for_none_of_other_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    every = FilterSlot.objects.all()
    first, other, same = every.filter(name="a"), every.filter(name="b"), every.filter(name="a")
    counting, done, counted = threading.Event(), threading.Event(), []

    def count(rows: QuerySet[FilterSlot], key: str) -> int:
        counted.append(key)
        if key == due_list._key(first):
            counting.set()
            assert done.wait(20)
        cache.set(key, 7)
        return 7

    monkeypatch.setattr(due_list, "_count_anew", count)
    monkeypatch.setattr(due, "is_large", lambda: True)
    with ThreadPoolExecutor(3) as threads:
        slow = threads.submit(due_list._count, first)
        assert counting.wait(20)
        waits, quick = threads.submit(due_list._count, same), threads.submit(due_list._count, other)
        try:
            assert quick.result(timeout=10) == 7
            assert not waits.done()
        finally:
            done.set()
        assert slow.result() == waits.result() == 7
    assert sorted(counted) == sorted(due_list._key(rows) for rows in (first, other))


def test_rows_that_came_since_they_were_counted_are_shown(
    long_list: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(due_list, "behind_the_page", lambda *_args: None)
    assert title_and_rows(long_list, reason="cost") == ("0 filters answer to this", 0)
    Plan.objects.update(reason="cost")
    assert title_and_rows(long_list, reason="cost") == ("61 filters answer to this. Rows 1 to 60 of 61.", 60)
    assert title_and_rows(long_list, reason="cost", page="2")[1] == 3


def test_a_narrowed_list_of_two_pages_says_so(long_list: Client) -> None:
    said = "63 filters answer to this"
    assert title_and_rows(long_list, city="river") == (f"{said}. Rows 1 to 60 of 63.", 60)


def test_a_title_that_counts_its_rows_adds_nothing(long_list: Client) -> None:
    assert title_and_rows(long_list, until="2026-05-20") == ("5 filters are due by 20 May 2026", 5)
    assert title_and_rows(long_list, city="nowhere") == ("0 filters answer to this", 0)


def test_a_short_list_with_later_filters_says_how_many_it_holds(manager: Client) -> None:
    for days in (3, 300):
        PlanFactory(due_on=TODAY + timedelta(days=days))
    said = "1 filter is due before 27 May 2026. The whole list holds 2."
    assert title_and_rows(manager) == (said, 2)


def test_the_sheet_has_all_rows_as_they_are_narrowed_and_nothing_that_a_spreadsheet_would_run(
    long_list: Client,
) -> None:
    Site.objects.update(street="=1+1")
    answer = long_list.get("/due/due.csv", {"until": "2026-05-20"})
    rows = list(csv.DictReader(io.StringIO(b"".join(answer).decode())))  # type: ignore[arg-type]
    assert len(rows) == 5
    assert {row["due_on"] for row in rows} == {(TODAY + timedelta(days=3)).isoformat()}
    assert {row["address"][:5] for row in rows} == {"'=1+1"}
    assert len(b"".join(long_list.get("/due/due.csv")).splitlines()) == 64  # type: ignore[arg-type]


def test_a_desk_without_homes_is_told_how_to_begin(manager: Client) -> None:
    text = tight(manager.get("/due/").text)
    assert "No home is on record yet." in text
    assert "Bring your sheets in" in text
    assert "Hand over an install" in text
    assert "Nothing answers to this." in manager.get("/due/", {"city": "nowhere"}).text


def test_a_technician_sees_the_filters_of_the_homes_of_about_now(
    technician: Client, technician_user: User, manager: Client
) -> None:
    near, far = FilterSlotFactory(), FilterSlotFactory()
    for slot in (near, far):
        PlanFactory(slot=slot, due_on=TODAY + timedelta(days=3))
    own = Technician.objects.filter(user=technician_user).first() or TechnicianFactory(user=technician_user)
    VisitFactory(site=near.system.site, technician=own, day=due.today(timezone.now()))
    for address in (reverse("due-list"), reverse("due-sheet")):
        told = b"".join(technician.get(address)).decode()
        assert near.name in told
        assert far.name not in told
        assert str(far.system.site.customer) not in told
        assert far.name in b"".join(manager.get(address)).decode()
    page = technician.get(reverse("due-list")).text
    assert "homes that you go to about now" in page
    assert "1 filter is due before" in tight(page)
    assert "2 filters are due before" in tight(manager.get(reverse("due-list")).text)


@pytest.mark.django_db(transaction=True)
def test_work_behind_a_page_has_a_connection_of_its_own(manager: Client) -> None:
    done = threading.Event()

    def work(number: int) -> None:
        assert FilterSlot.objects.count() == number
        done.set()

    before = set(threading.enumerate())
    due_list.behind_the_page(work, 0)
    for thread in set(threading.enumerate()) - before:
        thread.join(10)
    assert done.is_set()
