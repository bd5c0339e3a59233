"""Findings where they are seen: the filter's page, the day's stop, the desk's list."""

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Site
from schedules.finding_rows import found
from schedules.finding_words import TITLES
from schedules.models import Visit
from tests.factories import TODAY, FilterSlotFactory, PlanFactory, VisitFactory, VisitJobFactory

AT = float(TODAY.toordinal() - 60)
FALL = found("fall", [AT], True, seen_pa=65.0, beside_pa=27.0, until="2026-04-20", began="2026-04-01")
EARLIER = found("jump", [AT - 200], False, seen_pa=82.0, beside_pa=33.0)


def planned(slot: FilterSlot) -> None:
    PlanFactory(slot=slot, findings=[FALL, EARLIER], finding_count=1)


def test_the_filters_page_says_what_does_not_fit_and_links_to_the_filled_form(
    manager: Client, home_slot: FilterSlot
) -> None:
    planned(home_slot)
    address = reverse("filter", args=[home_slot.pk])
    text = manager.get(address).content.decode()
    assert "A change that nobody wrote down?" in text
    assert "an earlier filter" in text
    assert f'href="{address}?on=2026-04-01#changed"' in text
    assert 'value="2026-04-01"' in manager.get(address, {"on": "2026-04-01"}).content.decode()


@pytest.mark.parametrize("on", ["yesterday", "2026-13-01", ""])
def test_a_proposed_day_that_is_none_is_passed_over(manager: Client, home_slot: FilterSlot, on: str) -> None:
    address = reverse("filter", args=[home_slot.pk])
    assert manager.get(address, {"on": on}).status_code == 200


def test_a_homeowner_is_not_asked_to_judge_readings(homeowner: Client, home_slot: FilterSlot) -> None:
    planned(home_slot)
    text = homeowner.get(reverse("filter", args=[home_slot.pk])).content.decode()
    assert "What does not fit" not in text


def test_the_technicians_stop_shows_what_concerns_the_present_filter(
    technician: Client, technician_user: Any, home: Site, home_slot: FilterSlot
) -> None:
    planned(home_slot)
    visit = VisitFactory(
        site=home, technician=technician_user.technician, day=TODAY, state=Visit.State.SCHEDULED
    )
    VisitJobFactory(visit=visit, slot=home_slot)
    address = reverse("day", args=[technician_user.technician.pk, TODAY.isoformat()])
    text = technician.get(address).content.decode()
    assert "A change that nobody wrote down?" in text
    assert "One reading far too high" not in text


def test_the_desks_list_takes_the_same_queries_for_one_filter_and_for_many(
    manager: Client, home_slot: FilterSlot, django_assert_num_queries: Any
) -> None:
    planned(home_slot)
    address = reverse("findings")
    manager.get(address)
    with django_assert_num_queries(9):
        manager.get(address)
    for _ in range(30):
        planned(FilterSlotFactory())
    with django_assert_num_queries(9):
        text = manager.get(address).content.decode()
    assert "At 31 filters something does not fit" in text
    assert "One reading far too high" not in text.split("</form>", 3)[-1]


def test_the_desks_list_can_be_narrowed_to_one_kind(manager: Client, home_slot: FilterSlot) -> None:
    planned(home_slot)
    address = reverse("findings")
    assert "At 1 filter something" in manager.get(address, {"kind": "fall"}).content.decode()
    assert "At 0 filters something" in manager.get(address, {"kind": "grille"}).content.decode()
    assert "At 1 filter something" in manager.get(address, {"kind": "'\"<b>"}).content.decode()


def test_what_the_desks_list_can_be_narrowed_to_begins_with_a_capital(manager: Client) -> None:
    text = manager.get(reverse("findings")).text
    choices = re.findall(r"<option[^>]*>([^<]+)</option>", text.split('name="kind"')[1].split("</select>")[0])
    assert len(choices) == len(TITLES) + 1
    assert [choice for choice in choices if not choice[0].isupper()] == []
