"""The van's list: counted by size and medium, spares by service level, what is short and what would do."""

from datetime import datetime

import pytest
from django.test import Client
from django.urls import reverse
from scipy.stats import binom

from equipment.models import Media
from schedules.models import Technician, VanTick
from schedules.van_list import spares_for, van_list
from tests.factories import (
    TODAY,
    FilterSlotFactory,
    MediaFactory,
    MediaPointFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)


@pytest.mark.parametrize(
    ("need", "level", "spares"),
    # By hand with one in twenty spoilt: 0.95, 0.9025, 0.857, 0.8145 for none of one to four.
    [(0, 0.95, 0), (1, 0.95, 0), (2, 0.95, 1), (4, 0.8, 0), (4, 0.82, 1)],
)
def test_spares_by_hand(need: int, level: float, spares: int) -> None:
    assert spares_for(need, level) == spares


@pytest.mark.parametrize("need", [1, 3, 7, 12, 16, 27, 40])
def test_spares_are_the_fewest_that_keep_the_service_level(need: int) -> None:
    """A spare may be spoilt too: the sound ones of all, by scipy's binomial, reach what is needed."""
    for level in (0.8, 0.95, 0.99):
        spares = spares_for(need, level)
        assert binom.sf(need - 1, need + spares, 0.95) >= level
        assert spares == 0 or binom.sf(need - 1, need + spares - 1, 0.95) < level


@pytest.mark.parametrize("level", [0, 1, 1.5])
def test_a_level_that_is_none(level: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        spares_for(3, level)


@pytest.fixture
def loaded(db: None, technician_user: object) -> Technician:
    """A day of three filters of one medium, one on hand, and one of a size without a medium."""
    technician: Technician = technician_user.technician  # type: ignore[attr-defined]
    medium = MediaFactory(name="Pleat", merv=8, on_hand=1)
    other = MediaFactory(name="Open", merv=6, on_hand=9)
    refused = MediaFactory(name="Dense", merv=13, on_hand=9)
    for row, drop in ((medium, 15.0), (other, 10.0), (refused, 8000.0)):
        MediaPointFactory(media=row, airflow_m3s=0.3, clean_drop_pa=drop)
    visit = VisitFactory(technician=technician, day=TODAY, state="scheduled")
    system = SystemFactory(
        site=visit.site, design_airflow_m3s=0.3, return_budget_pa=100.0, blower="constant_airflow"
    )
    for n in range(3):
        slot = FilterSlotFactory(system=system, name=f"s{n}", first_media=medium)
        VisitJobFactory(visit=visit, slot=slot)
    VisitJobFactory(visit=visit, slot=FilterSlotFactory(system=system, name="x", nominal_size="20x20x1"))
    return technician


def test_the_list_counts_and_says_what_is_short_and_what_would_do(loaded: Technician, now: datetime) -> None:
    pleat, unknown = van_list(loaded, TODAY, now, "ip")
    assert (pleat.need, pleat.spares, pleat.short) == (3, 1, 3)
    assert [one.name for one in pleat.instead] == ["Open"]
    assert (unknown.media, unknown.short, unknown.need) == (None, None, 1)


def test_lines_are_ticked_off_and_taken_back(loaded: Technician, now: datetime, technician: Client) -> None:
    page = reverse("van", args=[loaded.pk, TODAY.isoformat()])
    text = technician.get(page).text
    assert "2 lines are still to be loaded" in text
    assert "Nothing to load" not in text
    key = f"16x25x1:{Media.objects.get(name='Pleat').pk}"
    technician.post(page, {"line": key, "count": "4"})
    technician.post(page, {"line": "20x20x1:", "count": "1"})
    assert "The van is loaded" in technician.get(page).text
    technician.post(page, {"line": key, "count": "0"})
    assert VanTick.objects.count() == 1
    for line, count in (("nonsense", "3"), (key, "x"), (key, "-4"), (key, "501")):
        technician.post(page, {"line": line, "count": count})
    assert VanTick.objects.count() == 1


def test_a_day_without_filters(technician_user: object, technician: Client) -> None:
    who = technician_user.technician  # type: ignore[attr-defined]
    assert "Nothing to load" in technician.get(reverse("van", args=[who.pk, TODAY.isoformat()])).text
    other = TechnicianFactory()
    assert technician.get(reverse("van", args=[other.pk, TODAY.isoformat()])).status_code == 403


@pytest.mark.django_db
def test_one_shelf_serves_all_vans_of_a_day(now: datetime) -> None:
    """One filter on hand, and two vans that need one each and a spare: the shelf is counted once."""
    media = MediaFactory(name="one", on_hand=1)
    vans = TechnicianFactory.create_batch(2)
    for van in vans:
        visit = VisitFactory(technician=van, day=TODAY, state="scheduled")
        VisitJobFactory(visit=visit, slot=FilterSlotFactory(first_media=media))
    (line,) = van_list(vans[0], TODAY, now, "ip")
    assert (line.need, line.others) == (1, 1)
    assert line.short == line.total + 1 - 1
