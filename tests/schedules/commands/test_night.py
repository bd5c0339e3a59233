"""The command that tells of nights and does their parts."""

from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from schedules import due, night
from schedules.models import Night, NightPart
from tests.factories import FilterSlotFactory, NightFactory, NightPartFactory

pytestmark = pytest.mark.django_db


def told(*arguments: str) -> str:
    out = StringIO()
    call_command("night", *arguments, stdout=out)
    return out.getvalue()


def test_a_large_desk_before_its_first_night_is_not_told_that_it_is_small(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    FilterSlotFactory()
    assert "by its sweep" in told()
    monkeypatch.setattr(due, "LARGE", 0)
    assert "--work" in told()


def test_a_part_whose_worker_was_killed_each_time_is_told_and_can_be_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(due, "LARGE", 0)
    FilterSlotFactory()
    now = timezone.now()
    whole = NightFactory(day=due.today(now), started_at=now)
    site = FilterSlotFactory().system.site_id
    killed = NightPartFactory(
        night=whole, first_site=site, last_site=site, tries=night.MOST_TRIES,
        claimed_at=now - timedelta(hours=1), claimed_by="here:7",
    )  # fmt: skip
    assert "5 tries; here:7 was lost" in told("--work")
    assert NightPart.objects.get(pk=killed.pk).done_at is None
    said = told("--again", "--work")
    assert "1 parts are free again" in said
    assert "0 of 1 dates moved" in said
    assert "1 filters looked at, 0 dates moved" in said
    assert Night.objects.get().finished_at is not None


def test_a_part_that_goes_wrong_holds_up_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(night, "HOMES_A_PART", 1)
    first, _second = FilterSlotFactory(), FilterSlotFactory()
    does = night._do

    def fails_at_the_first(part: NightPart, *rest: Any) -> tuple[int, int]:
        if part.first_site == first.system.site_id:
            raise ValueError
        return does(part, *rest)

    monkeypatch.setattr(night, "_do", fails_at_the_first)
    assert "ValueError" in told("--work")
    assert list(NightPart.objects.exclude(done_at=None).values_list("tries", flat=True)) == [1]
    waits = night.in_trouble().get()
    assert waits.tries == 1
    assert waits.free_at is not None
