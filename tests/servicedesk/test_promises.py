"""Are our dates right? The page's counts, its honesty about few readings, its fixed queries."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from equipment.models import FilterSlot
from schedules.finding_rows import found
from tests.factories import FilterSlotFactory, ForetoldFactory, PlanFactory, ReadingFactory
from tests.markup import tight


def promised(slot: FilterSlot, count: int, read_pa: float = 31.0, first: int = 40) -> list[date]:
    """``count`` readings on days of their own, each promised 25 to 36 Pa."""
    days = []
    for number in range(count):
        day = timezone.now().date() - timedelta(days=first + number)
        reading = ReadingFactory(slot=slot, taken_at=datetime(day.year, day.month, day.day, 15, tzinfo=UTC))
        ForetoldFactory(reading=reading, as_of=day - timedelta(days=28), days=28, read_pa=read_pa)
        days.append(day)
    return days


def text_of(client: Client) -> str:
    return tight(client.get(reverse("promises")).text)


@pytest.mark.django_db
def test_without_readings_there_is_too_little_to_judge(manager: Client) -> None:
    assert "too little to judge yet" in text_of(manager)


def test_twenty_nine_readings_are_counted_and_not_judged(manager: Client, home_slot: FilterSlot) -> None:
    promised(home_slot, 29)
    text = text_of(manager)
    assert "29 readings could be held" in text
    assert "<svg" not in text


def test_eighty_in_a_hundred_within_their_span_keep_the_promise(
    manager: Client, home_slot: FilterSlot
) -> None:
    promised(home_slot, 40)
    promised(home_slot, 40, read_pa=28.0, first=100)
    promised(home_slot, 8, read_pa=20.0, first=200)
    promised(home_slot, 12, read_pa=44.0, first=300)
    text = text_of(manager)
    assert "Our dates keep what they promise: 80 %" in text
    assert "<dt>Below it</dt><dd>8</dd>" in text
    assert "<dt>Above it</dt><dd>12</dd>" in text
    assert "<svg" in text
    assert "too little to judge" in text  # some months hold few


def test_promises_all_missed_are_called_too_much(manager: Client, home_slot: FilterSlot) -> None:
    promised(home_slot, 20, read_pa=60.0)
    promised(home_slot, 20, read_pa=10.0, first=100)
    text = text_of(manager)
    assert "promise too much: only 0 %" in text


@pytest.mark.parametrize(
    ("read_pa", "word", "day"),
    [
        (60.0, "faster", "too late"),
        (26.0, "more slowly", "earlier"),
    ],
)
def test_readings_all_to_one_side_are_told_by_what_they_mean_for_the_dates(
    manager: Client, home_slot: FilterSlot, read_pa: float, word: str, day: str
) -> None:
    promised(home_slot, 40, read_pa=read_pa)
    text = text_of(manager)
    assert f"Filters fill {word} here than our dates say" in text
    assert f"our dates come {day}" in text
    assert "keep what they promise" not in text


def test_a_lean_of_less_than_a_meters_step_is_a_little(manager: Client, home_slot: FilterSlot) -> None:
    promised(home_slot, 40, read_pa=29.5)
    promised(home_slot, 10, read_pa=10.0, first=100)
    text = text_of(manager)
    assert "Filters fill a little more slowly here than our dates say" in text
    assert "wider than they need be" not in text


def test_spans_that_are_too_wide_matter_more_than_such_a_lean(manager: Client, home_slot: FilterSlot) -> None:
    promised(home_slot, 40, read_pa=29.5)
    text = text_of(manager)
    assert "Our dates are surer than they say: 100 %" in text
    assert text.index("wider than they need be") < text.index("our dates come earlier")


def test_readings_that_are_findings_are_left_out_and_counted(manager: Client, home_slot: FilterSlot) -> None:
    days = promised(home_slot, 31)
    finding = found("jump", [days[0].toordinal() + 0.5], True, seen_pa=80.0, beside_pa=30.0)
    PlanFactory(slot=home_slot, findings=[finding], finding_count=1)
    text = text_of(manager)
    assert "<dt>Readings</dt><dd>30</dd>" in text
    assert "1: findings, see there" in text


@pytest.mark.parametrize("kind", ["hardly_clean", "under_earlier", "idle_log"])
def test_readings_that_count_for_the_date_are_held_to_their_promise(
    manager: Client, home_slot: FilterSlot, kind: str
) -> None:
    days = promised(home_slot, 31)
    finding = found(kind, [days[0].toordinal() + 0.5], True, seen_pa=20.0, beside_pa=30.0)
    PlanFactory(slot=home_slot, findings=[finding], finding_count=1)
    assert "<dt>Readings</dt><dd>31</dd>" in text_of(manager)


def test_a_reading_after_a_hidden_change_is_left_out_too(manager: Client, home_slot: FilterSlot) -> None:
    days = promised(home_slot, 31)
    before = days[0].toordinal() - 0.5
    fall = found("fall", [before], True, until=days[0].isoformat(), began=days[1].isoformat())
    PlanFactory(slot=home_slot, findings=[fall], finding_count=1)
    assert "<dt>Readings</dt><dd>30</dd>" in text_of(manager)


def test_readings_without_a_promise_are_counted_with_the_reason(
    manager: Client, home_slot: FilterSlot
) -> None:
    reading = ReadingFactory(slot=home_slot, taken_at=timezone.now() - timedelta(days=9))
    ForetoldFactory(reading=reading, why_not="start", p10_pa=None, p50_pa=None, p90_pa=None, read_pa=None)
    ReadingFactory(slot=home_slot, taken_at=timezone.now() - timedelta(days=8))
    text = text_of(manager)
    assert "1: nobody knows when the filter went in" in text
    assert "1: to be looked at soon" in text


def test_the_queries_stay_the_same_however_many_readings(manager: Client, home_slot: FilterSlot) -> None:
    promised(home_slot, 2)
    address = reverse("promises")
    manager.get(address)
    with CaptureQueriesContext(connection) as few:
        manager.get(address)
    for _ in range(5):
        promised(FilterSlotFactory(), 12)
    with CaptureQueriesContext(connection) as many:
        manager.get(address)
    assert len(few) == len(many) <= 10
