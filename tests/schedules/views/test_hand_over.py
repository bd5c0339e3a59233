"""The form for the day of the install, as it is filled in and sent."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Site
from tests.factories import FilterSlotFactory

pytestmark = pytest.mark.django_db
PAGE = "/hand-over/"
SHUT = {"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "0"}
HOUSEHOLD = {"customer": "Ines Vale", "street": "3 Quarry  Road", "language": "en", "kind": "conventional"}


def blocks(text: str) -> int:
    return len(re.findall(r'name="form-\d+-size"', text))


def typed(text: str, name: str) -> str:
    found = re.search(rf'<input[^>]*name="{name}"[^>]*>', text)
    assert found
    value = re.search(r'value="([^"]*)"', found[0])
    return value[1] if value else ""


def test_the_form_begins_with_one_filter(manager: Client) -> None:
    assert blocks(manager.get(PAGE).text) == 1


def test_another_filter_is_added_and_nothing_typed_is_lost_or_checked(manager: Client) -> None:
    half = {**SHUT, "customer": "Ines Vale", "capacity": "3 ton", "cautions": "Steep stairs", "pets": "true"}
    slot = {"form-0-size": "16 x 25", "form-0-location": "hall", "form-0-changed_by": "technician"}
    answer = manager.post(PAGE, {**half, **slot, "one-more": "1"})
    assert answer.status_code == 200
    assert blocks(answer.text) == 2
    assert typed(answer.text, "customer") == "Ines Vale"
    assert typed(answer.text, "capacity") == "3 ton"
    assert typed(answer.text, "form-0-size") == "16 x 25"
    assert typed(answer.text, "form-0-location") == "hall"
    assert "Steep stairs" in answer.text
    assert len(re.findall(r'<option value="technician" selected', answer.text)) == 1
    assert '<option value="true" selected' in answer.text
    assert 'class="error"' not in answer.text
    assert not Site.objects.exists()


def test_no_more_filters_are_offered_than_the_form_takes(manager: Client) -> None:
    text = manager.post(PAGE, {**SHUT, "form-TOTAL_FORMS": "11", "one-more": "1"}).text
    assert blocks(text) == 12
    assert 'name="one-more"' not in text
    assert blocks(manager.post(PAGE, {**SHUT, "form-TOTAL_FORMS": "9999", "one-more": "1"}).text) == 12
    assert blocks(manager.post(PAGE, {**SHUT, "form-TOTAL_FORMS": "-3", "one-more": "1"}).text) == 1


def test_added_filters_are_handed_over_and_named_after_street_and_place(manager: Client) -> None:
    FilterSlotFactory(name="3 Quarry Road, hall")
    added = {"form-TOTAL_FORMS": "4", "form-INITIAL_FORMS": "2"}
    slots = {
        "form-0-size": "16x25x1",
        "form-0-location": "hall",
        "form-1-size": "20x25x4",
        "form-2-size": "20x20x1",
        "form-2-location": "hall",
        "form-3-changed_by": "occupant",
    }
    answer = manager.post(PAGE, {**HOUSEHOLD, **added, **slots})
    site = Site.objects.get(street="3 Quarry  Road")
    assert answer["Location"] == reverse("site", args=[site.pk])
    made = FilterSlot.objects.filter(system__site=site).order_by("pk").values_list("name", "nominal_size")
    assert list(made) == [
        ("3 Quarry Road, hall 2", "16x25x1"),
        ("3 Quarry Road, filter 2", "20x25x4"),
        ("3 Quarry Road, hall 3", "20x20x1"),
    ]


def test_a_fault_in_an_added_filter_is_said_and_what_was_typed_stays(manager: Client) -> None:
    added = {"form-TOTAL_FORMS": "2", "form-INITIAL_FORMS": "1"}
    answer = manager.post(PAGE, {**HOUSEHOLD, **added, "form-0-size": "16x25x1", "form-1-location": "attic"})
    assert answer.status_code == 422
    assert "Write the size that the label gives" in answer.text
    assert typed(answer.text, "form-1-location") == "attic"
    assert not Site.objects.exists()
