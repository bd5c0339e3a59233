"""The sweep: what cannot be planned holds up nobody, one worker at a time, on and on while there is much."""

import csv
import logging
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.db import InterfaceError, OperationalError

from equipment.models import FilterSlot
from schedules import due
from schedules.gather import Gathered, Gatherer
from schedules.left_out import left_out
from schedules.models import Plan
from tests.factories import FilterSlotFactory
from tests.factories.clock import NOW, TODAY

pytestmark = pytest.mark.django_db
HOMES = 6


@pytest.fixture
def slots() -> list[FilterSlot]:
    return [
        FilterSlotFactory(fitted_on=TODAY - timedelta(days=30), facts_changed_at=NOW) for _ in range(HOMES)
    ]


@pytest.fixture
def spoilt(slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch) -> FilterSlot:
    """One whose home cannot be gathered."""
    bad, gather = slots[3], Gatherer.gather

    def breaks(gatherer: Gatherer, systems: Sequence[int]) -> Gathered:
        if bad.system_id in systems:
            raise ZeroDivisionError("a number that nobody thought of")
        return gather(gatherer, systems)

    monkeypatch.setattr(Gatherer, "gather", breaks)
    return bad


def planned() -> set[int]:
    return set(Plan.objects.values_list("slot", flat=True))


def test_a_home_that_cannot_be_planned_is_left_out_and_told(
    slots: list[FilterSlot], spoilt: FilterSlot, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        due.replan(NOW)
    assert planned() == {slot.pk for slot in slots} - {spoilt.pk}
    assert left_out({slot.system.site_id for slot in slots}) == {spoilt.system.site_id}
    site, system = spoilt.system.site_id, spoilt.system_id
    assert [record.getMessage() for record in caplog.records] == [
        "nothing could be learned from the fleet; what it taught before holds",
        f"home {site} with the systems [{system}] cannot be planned and is left out",
    ]


def test_the_file_of_dates_names_it_as_unknown(
    slots: list[FilterSlot], spoilt: FilterSlot, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("forecast", "--as-of", TODAY.isoformat(), "--out", str(tmp_path / "dates.csv"))
    with (tmp_path / "dates.csv").open() as file:
        rows = {row["filter_slot"]: row for row in csv.DictReader(file)}
    assert set(rows) == {slot.name for slot in slots}
    assert {name for name, row in rows.items() if row["reason"] == "unknown"} == {spoilt.name}
    assert spoilt.name in capsys.readouterr().err


def test_the_sweep_lets_it_be_for_a_while_and_tries_again(
    slots: list[FilterSlot], spoilt: FilterSlot
) -> None:
    assert due.replan_stale(NOW) == HOMES
    assert due.replan_stale(NOW) == 0
    cache.delete(f"home-left-out-{spoilt.system.site_id}")
    assert due.replan_stale(NOW) == 1


@pytest.mark.parametrize("fault", [OperationalError, InterfaceError])
def test_a_database_that_is_gone_is_nobodys_fault(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch, fault: type[Exception]
) -> None:
    def gone(*_args: Any) -> Gathered:
        raise fault("server closed the connection")

    monkeypatch.setattr(Gatherer, "gather", gone)
    with pytest.raises(fault):
        due.replan(NOW)
    assert left_out({slot.system.site_id for slot in slots}) == set()


def test_a_sweep_goes_on_while_there_is_much(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(due, "AT_ONCE", 2)
    assert due.sweep(lambda: NOW) == HOMES
    assert planned() == {slot.pk for slot in slots}


def test_a_sweep_ends_after_some_seconds(slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(due, "AT_ONCE", 2)
    seconds = iter(range(0, 600, 15))

    def clock() -> datetime:
        return NOW + timedelta(seconds=next(seconds))

    assert due.sweep(clock) == 2
    assert due.sweep(clock) == 2


def test_a_sweep_of_a_large_desk_goes_on_with_what_a_long_import_left(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    """All its slots bear the moment at which it began, and are no longer of just now."""
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(due, "AT_ONCE", 2)
    later = NOW + timedelta(minutes=30)
    seconds = iter(range(0, 600, 15))
    assert due.sweep(lambda: later + timedelta(seconds=next(seconds))) == 2
    assert due.sweep(lambda: later) == HOMES - 2


def test_a_sweep_that_took_too_long_leaves_the_next_ones_claim_alone(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    replan = due.replan_stale

    def slow(*args: Any) -> int:
        cache.set("sweeping", "another's")
        return replan(*args)

    monkeypatch.setattr(due, "replan_stale", slow)
    assert due.sweep(lambda: NOW) == HOMES
    assert due.sweep(lambda: NOW) == 0
    assert cache.get("sweeping") == "another's"


def test_two_sweeps_are_not_at_it_at_once(slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch) -> None:
    inner: list[int] = []
    replan = due.replan_stale

    def meanwhile(*args: Any) -> int:
        inner.append(due.sweep(lambda: NOW))
        return replan(*args)

    monkeypatch.setattr(due, "replan_stale", meanwhile)
    assert due.sweep(lambda: NOW) == HOMES
    assert inner == [0]
    monkeypatch.setattr(due, "replan_stale", replan)
    FilterSlot.objects.update(facts_changed_at=NOW + timedelta(seconds=1))
    assert due.sweep(lambda: NOW + timedelta(seconds=2)) == HOMES
