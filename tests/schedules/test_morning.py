"""What a large desk works out once a day: the same as a small one's, kept, and said to be so."""

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import Site
from schedules import due, figures_kept, morning, promises, promises_kept
from schedules.finding_rows import found
from schedules.models import DayResult, Plan
from tests.factories import (
    DepotFactory,
    FilterSlotFactory,
    ForetoldFactory,
    KeptDateFactory,
    NightFactory,
    PlanFactory,
    ReadingFactory,
)
from tests.factories.clock import TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def now_stands(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def overdue() -> None:
    """Filters past their date at two branches, and one that was changed in time."""
    for days, north in ((9, 40.0), (5, 30.0)):
        DepotFactory(latitude=north, longitude=-90.0)
        slot = FilterSlotFactory()
        Site.objects.filter(pk=slot.system.site_id).update(latitude=north, longitude=-90.0)
        PlanFactory(slot=slot, due_on=TODAY - timedelta(days=days))
    KeptDateFactory(ended_on=TODAY - timedelta(days=3))


def test_what_is_kept_is_what_a_small_desk_says_and_stands_for_the_day(
    overdue: None, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = figures_kept.shown(now)
    monkeypatch.setattr(due, "LARGE", 0)
    for at in (now, now + timedelta(hours=1)):
        large = figures_kept.shown(at)
        assert (large.table, large.oldest, large.at) == (small.table, small.oldest, now)
        Plan.objects.update(due_on=TODAY + timedelta(days=60))
    tomorrow = figures_kept.shown(now + timedelta(days=1))
    assert tomorrow.oldest[None].count == 0
    assert DayResult.objects.count() == 1


def test_results_are_ready_once_the_night_is_over_and_pages_say_as_of_when(
    overdue: None, now: datetime, manager: Client, monkeypatch: pytest.MonkeyPatch, now_stands: None
) -> None:
    assert "As of" not in manager.get(reverse("figures")).text
    assert not morning.make_ready(now)
    monkeypatch.setattr(due, "LARGE", 0)
    night = NightFactory(day=TODAY)
    assert not morning.make_ready(now)
    night.finished_at = now
    night.save()
    assert morning.make_ready(now)
    assert not morning.make_ready(now)
    assert "As of" in manager.get(reverse("figures")).text
    assert "of the whole record are as of" in manager.get(reverse("season")).text
    assert "As of" in manager.get(reverse("promises")).text


def test_promises_kept_are_those_of_a_small_desk(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """Groups with enough readings and with too few, a finding left out, one without a promise."""
    for town, merv, count in (("Elm", 8, 34), ("Oak", None, 2), ("", 13, 31)):
        slot = FilterSlotFactory(system__site__city=town)
        for number in range(count):
            at = now - timedelta(days=3 * number + 1)
            reading = ReadingFactory(slot=slot, taken_at=at)
            ForetoldFactory(
                reading=reading,
                as_of=at.date() - timedelta(days=28),
                days=28,
                merv=merv,
                read_pa=20.0 + number,
            )
    odd = found("jump", [float((now - timedelta(days=1)).toordinal())], True)
    PlanFactory(slot=slot, findings=[odd], finding_count=1)
    lost = ReadingFactory(slot=slot, taken_at=now)
    ForetoldFactory(reading=lost, why_not="start", p10_pa=None, p50_pa=None, p90_pa=None, read_pa=None)
    small = promises_kept.shown(now)
    assert (small.judged.whole.count, small.judged.findings, small.judged.without) == (66, 1, {"start": 1})
    assert [(town, kept.count, kept.enough) for town, kept in small.judged.towns] == [
        ("", 30, True), ("Elm", 34, True), ("Oak", 2, False)
    ]  # fmt: skip
    assert [(merv, inches) for merv, inches, _kept in small.judged.classes] == [(0, 1), (8, 1), (13, 1)]
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(promises, "_AT_ONCE", 5)
    large = promises_kept.shown(now)
    assert large.at == now
    assert repr(large.judged) == repr(small.judged)
