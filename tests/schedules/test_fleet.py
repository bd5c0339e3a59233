"""The fleet's own prior: learned once a day, kept, used."""

from datetime import date, datetime, timedelta

import pytest

from equipment.models import FilterSlot
from equipment.record import stamp
from schedules import due, fleet
from schedules.models import FleetPrior, Plan
from schedules.planning.loading import Prior
from tests.factories import FilterSlotFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


def test_a_prior_comes_back_from_its_row_as_it_was(now: datetime) -> None:
    FilterSlotFactory()
    made = fleet.prior_of_the_day(TODAY, now)
    kept = fleet.prior_of_the_day(TODAY, now + timedelta(hours=1))
    assert (kept.coefficients == made.coefficients).all()
    assert (kept.pairs == made.pairs).all()
    for name in ("house", "life", "slot", "learned_from", "noise"):
        assert getattr(kept, name) == getattr(made, name)
    assert FleetPrior.objects.get().made_at == now


def test_an_empty_desk_has_the_fixed_prior(now: datetime) -> None:
    assert fleet.prior_of_the_day(TODAY, now).house == Prior().house
    assert FleetPrior.objects.get().learned_from == 0


def test_one_new_fact_does_not_learn_the_fleet_anew_and_a_new_day_does(now: datetime) -> None:
    slot = FilterSlotFactory(fitted_on=date(2026, 1, 1))
    due.replan(now)
    stamp(slot, now + timedelta(minutes=1))
    due.replan(now + timedelta(minutes=1), FilterSlot.objects.filter(pk=slot.pk))
    assert FleetPrior.objects.get().made_at == now
    due.replan(now + timedelta(days=1), FilterSlot.objects.filter(pk=slot.pk))
    assert FleetPrior.objects.count() == 2
    assert "usual_pace" in Plan.objects.get().notes
