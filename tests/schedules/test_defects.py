"""What is not right at a home, from the technician's form to the manager's list."""

from datetime import date, datetime, timedelta

import pytest
import time_machine
from django.test import Client

from equipment.models import FilterSlot, Site, SiteRole, User
from schedules import defects, visits
from schedules.emails import letter_for
from schedules.models import Defect, Technician, Visit
from schedules.visits import Booking, Outcome
from tests.factories import DefectFactory, NoticeFactory, PersonFactory, SiteRoleFactory, VisitFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, technician_user: User, now: datetime) -> Visit:
    mine = Technician.objects.get(user=technician_user)
    return visits.book(Booking(home, [home_slot], [], mine, TODAY, sure=True), now)


def test_what_is_ticked_at_the_visit_is_open_until_somebody_settles_it(
    technician: Client, manager: Client, visit: Visit, now: datetime
) -> None:
    with time_machine.travel(now, tick=False):
        told = {"seen": ["flue", "return_leak"], "findings": "soot on the draft hood"}
        assert technician.post(f"/visits/{visit.pk}/complete/", told).status_code == 302
        text = manager.get("/findings/").text
        assert "2 things seen at homes want correcting" in text
        assert text.index("Soot, scorching") < text.index("Return box or duct leaks")
        assert "soot on the draft hood" in text
        assert "work for a licensed firm" in text
        for row in Defect.objects.all():
            manager.post(f"/findings/seen/{row.pk}/settled/", {"how": "sealed"})
        assert "want correcting" not in manager.get("/findings/").text
        assert "sealed" in manager.get(f"/visits/{visit.pk}/").text
    assert set(Defect.objects.values_list("settled_how", flat=True)) == {"sealed"}


def test_words_without_a_tick_reach_the_list_too(visit: Visit, technician_user: User, now: datetime) -> None:
    visits.complete(visit, Outcome(now, findings="wasps under the lid"), technician_user, now)
    ((row, advice),) = defects.all_open(9)
    assert (row.kind, advice.correction, row.visit.findings) == ("other", "", "wasps under the lid")


def test_nothing_seen_is_nothing_open(visit: Visit, technician_user: User, now: datetime) -> None:
    visits.complete(visit, Outcome(now), technician_user, now)
    assert defects.how_many_open() == 0


@pytest.mark.parametrize("kind", Defect.Kind.values)
def test_every_kind_but_the_last_says_what_corrects_it(kind: str) -> None:
    advice = defects.advice_on(kind)
    assert bool(advice.correction) == (kind != "other")
    assert advice.licensed == ("licensed" in advice.correction)


def test_combustion_wiring_refrigerant_and_old_insulation_are_for_licensed_people() -> None:
    left = {kind for kind in Defect.Kind.values if defects.advice_on(kind).licensed}
    assert left == {"flue", "wiring", "ice", "oil", "old_insulation"}
    assert {kind for kind in left if defects.advice_on(kind).at_once} == {"flue", "wiring"}


def test_a_settled_one_keeps_who_and_when(manager_user: User, technician_user: User, now: datetime) -> None:
    row = DefectFactory(visit=VisitFactory())
    defects.settle(row, "done", manager_user, now)
    defects.settle(row, "again", technician_user, now + timedelta(days=1))
    row.refresh_from_db()
    assert (row.settled_how, row.settled_by, row.settled_at) == ("done", manager_user, now)


def test_the_owner_reads_what_was_seen_and_what_corrects_it(
    visit: Visit, technician_user: User, now: datetime
) -> None:
    owner = PersonFactory(name="Olive Own", email="olive@home.example", language="es")
    SiteRoleFactory(site=visit.site, person=owner, role=SiteRole.Role.OWNER)
    visits.complete(visit, Outcome(now, seen=["water"], findings="pan full"), technician_user, now)
    notice = NoticeFactory(kind="done", site=visit.site, visit=visit, person=owner)
    letter = letter_for(notice, now)
    for said in (letter.text, letter.html):
        assert "Agua u óxido en el equipo" in said
        assert "pan full" in said
