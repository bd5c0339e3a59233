"""Tags at the grille: codes that can be read, scanned by whom, withdrawn and printed anew."""

from datetime import datetime

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from equipment.models import FilterSlot, Site
from schedules import tags
from schedules.models import Tag
from tests.factories import DeskFactory, FilterSlotFactory, PlanFactory


@given(st.text(alphabet=tags.SIGNS, min_size=tags.LENGTH, max_size=tags.LENGTH))
def test_a_code_is_found_as_it_is_printed_and_as_people_read_it(code: str) -> None:
    assert tags.as_code(tags.shown(code)) == code
    assert tags.as_code(f" {code.lower()} ") == code
    assert tags.as_code(code.replace("0", "O").replace("1", "l").replace("V", "u")) == code


@pytest.mark.parametrize("typed", ["", "K7M4", "K7M4-2QXD9", "K7M4-2Q!D", "16x25x1", "ñ7M42QXD"])
def test_what_is_no_code(typed: str) -> None:
    assert tags.as_code(typed) == ""


@pytest.fixture
def tag(home_slot: FilterSlot, now: datetime) -> Tag:
    DeskFactory(name="Elm and Ash Air", phone="555-0199")
    PlanFactory(slot=home_slot)
    return tags.tag_of(home_slot, now)


def scan(client: Client, tag: Tag) -> object:
    return client.get(reverse("tag", args=[tags.shown(tag.code)]))


@pytest.mark.django_db
def test_the_technician_comes_to_the_filter_and_the_household_to_its_answer_page(
    tag: Tag, technician: Client, manager: Client, homeowner: Client
) -> None:
    for client in (technician, manager):
        assert scan(client, tag)["Location"] == reverse("filter", args=[tag.slot_id])  # type: ignore[index]
    page = homeowner.get(reverse("tag", args=[tag.code]), follow=True)
    assert "Did you change your air filter?" in page.text


@pytest.mark.django_db
def test_a_stranger_reads_the_size_and_how_to_reach_the_desk_and_nothing_else(
    tag: Tag, stranger: Client
) -> None:
    Site.objects.update(street="12 Elm Street")
    FilterSlot.objects.update(location="attic hatch", access_notes="key under the pot")
    page = scan(stranger, tag).text  # type: ignore[attr-defined]
    assert "16 × 25 × 1 in" in page
    assert "555-0199" in page
    for secret in ("Elm Street", "attic", "key under", "Reed", "2026"):
        assert secret not in page


@pytest.mark.django_db
def test_of_another_household_one_is_a_stranger(tag: Tag, homeowner: Client) -> None:
    other = tags.tag_of(FilterSlotFactory(), tag.made_at)
    assert "The air filter behind this grille" in scan(homeowner, other).text  # type: ignore[attr-defined]


@pytest.mark.django_db
def test_a_tag_is_withdrawn_and_printed_anew(tag: Tag, manager: Client, stranger: Client) -> None:
    sheet = reverse("tags", args=[tag.slot.system.site_id])
    assert tags.shown(tag.code) in manager.get(sheet).text
    assert Tag.objects.count() == 1
    manager.post(sheet, {f"slot{tag.slot_id}": "1"})
    page = manager.get(sheet).text
    assert tags.shown(tag.code) not in page
    new = Tag.objects.get(withdrawn_at=None)
    assert tags.shown(new.code) in page
    gone = stranger.get(reverse("tag", args=[tag.code]))
    assert (gone.status_code, "replaced by another" in gone.text) == (410, True)
    assert stranger.get(reverse("tag", args=["ZZZZ-ZZZZ"])).status_code == 404


@pytest.mark.django_db
def test_a_tag_of_what_is_not_there_any_more_answers_nothing(tag: Tag, stranger: Client) -> None:
    system = tag.slot.system
    for row, name in ((tag.slot, "retired_on"), (system, "replaced_on"), (system.site.customer, "gone_on")):
        setattr(row, name, tag.made_at.date())
        row.save()
        assert stranger.get(reverse("tag", args=[tag.code])).status_code == 410
        setattr(row, name, None)
        row.save()
    assert stranger.get(reverse("tag", args=[tag.code])).status_code == 200


@pytest.mark.django_db
def test_the_look_up_takes_a_code_off_a_tag(tag: Tag, technician: Client) -> None:
    found = technician.get(reverse("look-up"), {"q": tags.shown(tag.code).lower()})
    assert found["Location"] == reverse("filter", args=[tag.slot_id])
