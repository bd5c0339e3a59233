"""How to get in is read on the day, by whoever goes there."""

from datetime import date, datetime, timedelta

import pytest
import time_machine
from django.test import Client

from equipment.models import FilterSlot, Site, User
from schedules.models import Technician, Visit
from tests.factories import TODAY, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db
NOTE = "key under the third pot"


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, technician_user: User) -> Visit:
    home_slot.access_notes = NOTE
    home_slot.save()
    own = Technician.objects.get(user=technician_user)
    visit: Visit = VisitFactory(site=home, technician=own, day=TODAY, state=Visit.State.SCHEDULED)
    VisitJobFactory(visit=visit, slot=home_slot)
    return visit


def pages(visit: Visit, slot: FilterSlot) -> dict[str, str]:
    return {
        "visit": f"/visits/{visit.pk}/",
        "filter": f"/filters/{slot.pk}/",
        "site": f"/sites/{visit.site_id}/",
        "look-up": "/find/?q=linden",
        "day": f"/days/{visit.technician_id}/{visit.day:%Y-%m-%d}/",
    }


def showing(client: Client, visit: Visit, slot: FilterSlot, at: datetime) -> set[str]:
    """The pages that show the note; none else may be missing."""
    found = set()
    with time_machine.travel(at, tick=False):
        for name, address in pages(visit, slot).items():
            answer = client.get(address)
            assert answer.status_code == 200, name
            if NOTE in answer.text:
                found.add(name)
    return found


def test_the_technician_reads_it_on_the_day_alone(
    technician: Client, visit: Visit, home_slot: FilterSlot, now: datetime
) -> None:
    assert showing(technician, visit, home_slot, now) == {"visit", "filter", "site", "look-up", "day"}
    assert showing(technician, visit, home_slot, now - timedelta(days=1)) == set()
    Visit.objects.update(state=Visit.State.COMPLETED)
    assert showing(technician, visit, home_slot, now) == set()


def test_the_sheet_says_that_it_is_shown_on_the_day(technician: Client, visit: Visit, now: datetime) -> None:
    Visit.objects.update(day=date(2026, 5, 13))
    with time_machine.travel(now, tick=False):
        text = technician.get(f"/days/{visit.technician_id}/2026-05-13/").text
    assert "How to get in is shown on the day itself." in text
    assert NOTE not in text


def test_the_manager_reads_it_always_and_the_household_never(
    manager: Client, homeowner: Client, visit: Visit, home_slot: FilterSlot, now: datetime
) -> None:
    yesterday = now - timedelta(days=1)
    assert showing(manager, visit, home_slot, yesterday) == {"visit", "filter", "site", "look-up", "day"}
    with time_machine.travel(now, tick=False):
        assert NOTE not in homeowner.get(f"/filters/{home_slot.pk}/").text
        assert NOTE not in homeowner.get(f"/sites/{visit.site_id}/").text
