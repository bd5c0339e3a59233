"""A reading that cannot well be so is asked about at the form, with what to check."""

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Reading
from schedules.models import Visit
from schedules.reading_checks import expected_now, slot_rules
from shared.units import PA_PER_INWC
from tests.factories import TODAY, PlanFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def slot(home_slot: FilterSlot) -> FilterSlot:
    """About 50 Pa are expected now, the limit is 75, the blower is rated for 125."""
    PlanFactory(slot=home_slot, due_on=date(2026, 5, 16), drop_now_pa=50.0, limit_drop_pa=75.0)
    home_slot.system.rated_external_static_pa = 125.0
    home_slot.system.save()
    return FilterSlot.objects.select_related("plan", "system").get(pk=home_slot.pk)


def asked_of(slot: FilterSlot, before: float | None, after: float | None, **typed: str) -> list[str]:
    """The questions of a changed filter's drops in Pa; ``typed`` holds what else stands in its form."""
    name = f"slot{slot.pk}-"
    read = {f"{name}drop_before": before, f"{name}drop_after": after}
    stands = {f"{name}{key}": value for key, value in ({"changed": "on"} | typed).items()}
    found = [rule.asked(read, stands, "ip") for rule in slot_rules(slot, "ip") if not rule.note]
    return [question for question in found if question]


@pytest.mark.parametrize(
    ("before", "after", "asked"),
    [
        (50.0, 20.0, []), (26.0, None, []), (99.0, None, []), (None, None, []),
        (101.0, None, ["grille measured together"]), (24.0, None, ["meter at nought"]),
        (50.0, 50.0, ["swapped"]), (50.0, 60.0, ["swapped"]), (50.0, 49.0, []),
        (160.0, None, ["grille measured together", "this blower is rated for"]),
        (None, 160.0, ["this blower is rated for"]),
    ],
)  # fmt: skip
def test_what_is_asked(slot: FilterSlot, before: float | None, after: float | None, asked: list[str]) -> None:
    found = asked_of(slot, before, after)
    assert len(found) == len(asked)
    assert all(words in question for words, question in zip(asked, found, strict=True))


def test_without_a_plan_nothing_is_expected(home_slot: FilterSlot) -> None:
    bare = FilterSlot.objects.get(pk=home_slot.pk)
    assert expected_now(bare, "ip") == ""
    assert asked_of(bare, 500.0, None) == []


def test_the_form_asks_once_and_takes_it_when_somebody_looked_again(
    slot: FilterSlot, technician: Client, technician_user: object
) -> None:
    visit = VisitFactory(
        site=slot.system.site, technician=technician_user.technician, day=TODAY,  # type: ignore[attr-defined]
        state=Visit.State.SCHEDULED,
    )  # fmt: skip
    VisitJobFactory(visit=visit, slot=slot)
    page = technician.get(reverse("visit", args=[visit.pk])).text
    assert "about 0.20 in. w.c. is expected now, the limit is 0.30 in. w.c." in page
    told = {f"slot{slot.pk}-changed": "on", f"slot{slot.pk}-drop_before": "0.62"}
    address = reverse("visit-complete", args=[visit.pk])
    asked = technician.post(address, told)
    assert asked.status_code == 422
    assert "where about 0.20 in. w.c. was expected" in asked.text
    assert "I looked again: it is so" in asked.text
    assert not Reading.objects.exists()
    assert technician.post(address, told | {f"slot{slot.pk}-sure": "on"}).status_code == 302
    assert Reading.objects.get().filter_drop_pa == pytest.approx(0.62 * PA_PER_INWC)
