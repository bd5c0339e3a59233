"""What programs find on record."""

from datetime import timedelta

import pytest

from equipment.models import FilterSlot, Site, User
from tests.factories import TODAY, PlanFactory
from tests.servicedesk.writing import Record


@pytest.fixture
def hall(home_slot: FilterSlot) -> FilterSlot:
    """A filter called hall that is due in nine days."""
    home_slot.name, home_slot.fitted_on = "hall", TODAY - timedelta(days=100)
    home_slot.save()
    PlanFactory(slot=home_slot, due_on=TODAY + timedelta(days=9))
    return home_slot


@pytest.fixture
def record(
    hall: FilterSlot, home: Site, technician_user: User, manager_user: User, homeowner_user: User
) -> Record:
    """A home with its filter, its people and the desk's."""
    return Record(hall, home, technician_user.technician, manager_user, homeowner_user)
