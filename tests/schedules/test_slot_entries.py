"""A reading or a change told of one filter without signal."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from equipment.models import FilterChange, FilterSlot, Reading, User
from equipment.record import NotRecordable
from schedules import entry_judging
from schedules.field_entries import Sent, take, what_it_says
from schedules.models import FieldEntry
from tests.factories import PlanFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


@pytest.fixture
def slot(home_slot: FilterSlot) -> FilterSlot:
    home_slot.fitted_on = date(2025, 11, 20)
    home_slot.save()
    return home_slot


def told(kind: str, slot_key: int, now: Any, /, **more: Any) -> Sent:
    """Of an hour ago."""
    fields = {"filter_drop": ["0.2"], "units": ["ip"]} if kind == "reading" else {"on": [TODAY.isoformat()]}
    usual: dict[str, Any] = {
        "uid": uuid4(), "device": uuid4(), "number": 1, "visit": None, "slot": slot_key, "kind": kind,
        "pressed_at": now - timedelta(hours=1), "clock_behind": timedelta(0), "fields": fields,
    }  # fmt: skip
    return Sent(**{**usual, **more})


def test_a_reading_is_written_down_once_at_its_hour_in_its_units(
    slot: FilterSlot, technician_user: User, now: Any
) -> None:
    sent = told("reading", slot.pk, now)
    assert [take(sent, technician_user, now, "si").state for _ in range(3)] == ["taken"] * 3
    row = Reading.objects.get(slot=slot)
    assert row.filter_drop_pa == pytest.approx(49.8, abs=0.1)
    assert (row.taken_at, row.taken_by) == (now - timedelta(hours=1), technician_user)


def test_how_the_air_was_measured_stands_in_the_history_too(
    slot: FilterSlot, technician_user: User, now: Any
) -> None:
    fields = {"filter_drop": ["0.2"], "airflow": ["900"], "airflow_method": ["hood"], "units": ["ip"]}
    take(told("reading", slot.pk, now, fields=fields), technician_user, now, "ip")
    row = Reading.objects.get(slot=slot)
    assert (row.airflow_method, row.history.first().airflow_method) == ("hood", "hood")


def test_a_change_is_written_down_at_its_hour(slot: FilterSlot, technician_user: User, now: Any) -> None:
    assert take(told("changed", slot.pk, now), technician_user, now, "ip").state == "taken"
    row = FilterChange.objects.get(slot=slot)
    assert (row.changed_on, row.changed_at) == (TODAY, now - timedelta(hours=1))
    assert (row.told, row.recorded_by) == (FilterChange.Told.TECHNICIAN, technician_user)
    slot.plan.refresh_from_db()
    assert slot.plan.life_began_on == TODAY


def test_a_change_that_somebody_else_told_of_stands_beside(
    slot: FilterSlot, technician_user: User, now: Any
) -> None:
    FilterChange.objects.create(
        slot=slot, changed_on=TODAY, changed_at=now - timedelta(hours=3), told=FilterChange.Told.OCCUPANT
    )
    assert take(told("changed", slot.pk, now), technician_user, now, "ip").state == "beside"
    assert FilterChange.objects.count() == 1
    assert [row.kind for row in entry_judging.of_slot(slot)] == ["changed"]


def test_whoever_stands_before_the_form_is_asked(slot: FilterSlot, technician_user: User, now: Any) -> None:
    sent = told("reading", slot.pk, now, here=True, fields={"filter_drop": ["12"]})
    answer = take(sent, technician_user, now, "ip")
    assert (answer.state, list(answer.faults)) == ("ask", ["filter_drop"])
    assert not FieldEntry.objects.exists()


def test_what_cannot_be_so_waits_for_the_desk_and_says_what_was_typed(
    slot: FilterSlot, technician_user: User, manager: Client, now: Any
) -> None:
    sent = told("reading", slot.pk, now, fields={"filter_drop": ["12"], "airflow_method": ["hood"]})
    assert take(sent, technician_user, now, "ip").state == "to_judge"
    row = FieldEntry.objects.get()
    assert ("How the airflow was measured", "hood") in what_it_says(row, "ip")
    with pytest.raises(NotRecordable):
        entry_judging.count(row, technician_user, now, "ip")
    for address in ("/findings/", f"/filters/{slot.pk}/"):
        assert "hood" in manager.get(address).text


def test_a_filter_that_is_gone_is_judged_and_counted_once_it_is_back(
    slot: FilterSlot, technician_user: User, manager: Client, now: Any
) -> None:
    slot.retired_on = TODAY
    slot.save()
    assert take(told("reading", slot.pk, now), technician_user, now, "ip").state == "to_judge"
    gone = told("reading", 999_999, now, number=2)
    assert take(gone, technician_user, now, "ip").state == "to_judge"
    assert "Filter 999999, not on record any more" in manager.get("/findings/").text.replace(",999", "999")
    row = FieldEntry.objects.get(slot=slot)
    with pytest.raises(NotRecordable):
        entry_judging.count(row, technician_user, now, "ip")
    slot.retired_on = None
    slot.save()
    entry_judging.count(row, technician_user, now, "ip")
    assert Reading.objects.get(slot=slot).taken_at == now - timedelta(hours=1)


def test_a_households_form_stays_plain(homeowner: Client, technician: Client, slot: FilterSlot) -> None:
    assert "data-entry" not in homeowner.get(f"/filters/{slot.pk}/").text
    assert technician.get(f"/filters/{slot.pk}/").text.count("data-entry") == 2


@pytest.fixture
def expected(slot: FilterSlot) -> FilterSlot:
    """Of which 0.15 in. w.c. are expected."""
    PlanFactory(slot=slot, drop_now_pa=37.4)
    return slot


def test_a_reading_far_from_what_was_expected_is_asked_about(
    expected: FilterSlot, technician_user: User, technician: Client, now: Any
) -> None:
    far = {"filter_drop": ["0.45"], "units": ["ip"]}
    answer = take(told("reading", expected.pk, now, here=True, fields=far), technician_user, now, "ip")
    assert (answer.state, sorted(answer.faults)) == ("ask", ["filter_drop", "sure"])
    page = technician.post(f"/filters/{expected.pk}/reading/", {"filter_drop": "0.45", "units": "ip"})
    assert (page.status_code, "was expected" in page.text) == (422, True)
    sure = {"filter_drop": "0.45", "units": "ip", "sure": "on"}
    assert technician.post(f"/filters/{expected.pk}/reading/", sure).status_code == 302
    assert Reading.objects.count() == 1


def test_written_without_signal_it_is_taken_and_shown(
    expected: FilterSlot, technician_user: User, now: Any
) -> None:
    far = {"filter_drop": ["0.45"], "units": ["ip"]}
    answer = take(told("reading", expected.pk, now, fields=far), technician_user, now, "ip")
    assert (answer.state, "was expected" in answer.said) == ("taken", True)
    assert Reading.objects.get().filter_drop_pa == pytest.approx(112.1, abs=0.1)
    assert [row.counts for row in entry_judging.waiting()] == [True]
