"""Free text about somebody who is forgotten goes, also out of histories; what tells of the building stays."""

from datetime import timedelta

import pytest
import time_machine
from django.apps import apps

from equipment.models import LifeEvent, Person, Site, SiteRole
from schedules import own_data
from schedules.erased_words import signs_of
from schedules.erasure import erase
from schedules.models import Answer, Defect, FieldEntry, Rung, TaskDone, Visit
from tests.factories import (
    NOW,
    TODAY,
    AnswerFactory,
    DefectFactory,
    FieldEntryFactory,
    LifeEventFactory,
    PersonFactory,
    ReplyFactory,
    RungFactory,
    SiteFactory,
    SiteRoleFactory,
    TaskDoneFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
MAIL, PHONE = "robin@home.example", "+1 555 010 7788"


@pytest.fixture
def robin(homeowner_person: Person) -> Person:
    """Called otherwise until lately."""
    homeowner_person.name = "Robin Marsh"
    homeowner_person.save()
    homeowner_person.name, homeowner_person.phone = "Robin Reed", PHONE
    homeowner_person.save()
    return homeowner_person


@pytest.fixture
def written(home: Site, robin: Person) -> Visit:
    """A visit that is over and all that was written about it and the home."""
    with time_machine.travel(NOW, tick=False):
        visit: Visit = VisitFactory(
            site=home,
            state="due",
            wanted="Robin Reed hears a whistle",
            note="ask for robin reed",
        )
        visit.state, visit.completed_at = Visit.State.COMPLETED, NOW
        visit.findings = "Rusty frame, as Mr Marsh said; reed of the damper bent. Ring 555-010-7788"
        visit.note = "bad back"
        visit.save()
        LifeEventFactory(site=home, note="a child is on the way")
    RungFactory(site=home, person=None, note="husband answers", why="visit of Robin", at=NOW)
    AnswerFactory(site=home, person=None, text="away till May", at=NOW)
    told = {"visit": visit, "received_at": NOW}
    FieldEntryFactory(state="taken", why="", fields={"note": ["bad back"]}, **told)
    FieldEntryFactory(state="to_judge", why="odd", fields={"findings": ["rust"]}, **told)
    DefectFactory(visit=visit, site=home, settled_at=NOW, settled_how="new rack, told robin@home.example")
    system = home.systems.get()
    TaskDoneFactory(task__system=system, note="coil clean, Robin was there", visit=visit)
    return visit


def everything() -> str:
    """Every text of the database's own rows and histories."""
    rooms = ("equipment", "schedules")
    models = [model for model in apps.get_models() if model._meta.app_label in rooms]
    return "\n".join(str(row) for model in models for row in model._base_manager.values())


def test_nothing_of_the_person_is_left_anywhere_and_the_building_keeps_its_own(
    written: Visit, robin: Person
) -> None:
    before = everything()
    for sign in ("Robin", "robin@home.example", "Marsh", "bad back", "hears a whistle", "on the way"):
        assert sign in before, sign
    erase(robin, NOW)
    after = everything()
    for sign in (
        "Robin", "robin", "Reed", "Marsh", "7788", "bad back", "whistle", "on the way", "husband", "till",
    ):  # fmt: skip
        assert sign not in after, sign
    written.refresh_from_db()
    assert written.findings == "Rusty frame, as Mr … said; reed of the damper bent. Ring …"
    assert (written.wanted, written.note, written.state) == ("", "", "completed")
    assert {(row.wanted, row.note) for row in Visit.history.all()} == {("", "")}
    assert [row.findings for row in Visit.history.order_by("history_id")] == ["", written.findings]
    assert Defect.objects.get().settled_how == "new rack, told …"
    assert TaskDone.objects.get().note == "coil clean, … was there"
    assert list(FieldEntry.objects.order_by("state").values_list("fields", flat=True)) == [
        {},
        {"findings": ["rust"]},
    ]
    for model in (Rung, Answer, LifeEvent):
        assert model.objects.count() == 1


def test_a_visit_to_come_keeps_what_is_wanted_without_the_name(home: Site, robin: Person) -> None:
    visit = VisitFactory(site=home, state="due", wanted="Robin Reed hears a whistle")
    erase(robin, NOW)
    visit.refresh_from_db()
    assert visit.wanted == "… hears a whistle"
    assert Visit.history.get().wanted == "… hears a whistle"


def test_what_concerns_other_homes_and_other_people_stays(home: Site, robin: Person) -> None:
    other = PersonFactory(name="Sam Hill")
    RungFactory(site=home, person=other, note="Sam rings back", at=NOW)
    RungFactory(site=SiteFactory(), person=None, note="elsewhere", at=NOW)
    visit = VisitFactory(state="completed", note="elsewhere", findings="Robin Reed")
    owned = SiteFactory()
    SiteRoleFactory(site=owned, person=robin, role=SiteRole.Role.OWNER)
    VisitFactory(site=owned, state="completed", note="the tenant has a dog", findings="Robin Reed pays")
    erase(robin, NOW)
    assert set(Rung.objects.values_list("note", flat=True)) == {"Sam rings back", "elsewhere"}
    assert set(Visit.objects.values_list("note", "findings")) == {
        (visit.note, visit.findings),
        ("the tenant has a dog", "… pays"),
    }


def test_whoever_left_is_taken_out_of_their_own_time_alone(home: Site, robin: Person) -> None:
    robin.roles.update(until=TODAY - timedelta(days=20))
    for days, note in ((30, "theirs"), (5, "of those after them")):
        with time_machine.travel(NOW - timedelta(days=days), tick=False):
            VisitFactory(site=home, state="completed", note=note)
            RungFactory(site=home, person=None, note=note, at=NOW - timedelta(days=days))
    erase(robin, NOW)
    assert list(Visit.objects.order_by("pk").values_list("note", flat=True)) == ["", "of those after them"]
    assert set(Rung.objects.values_list("note", flat=True)) == {"", "of those after them"}


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("Robin Reed", "…"),
        ("ROBIN REED was here", "… was here"),
        ("Reed's dog", "…'s dog"),
        ("a reed bed, Robinson", "a reed bed, Robinson"),
        ("(555) 010-7788 or 5550107788", "… or …"),
        ("15550107788, not 55501077889", "…, not 55501077889"),
        ("Robin@Home.example", "…"),
    ],
)
def test_what_names_somebody(robin: Person, text: str, left: str) -> None:
    signs = signs_of(robin)
    assert signs is not None
    assert signs.sub("…", text) == left


def test_nobody_without_a_name_is_looked_for() -> None:
    assert signs_of(PersonFactory(name="", email="", phone="")) is None


def test_ones_own_data_holds_calls_replies_wishes_and_notes(written: Visit, robin: Person) -> None:
    ReplyFactory(visit=written, sender=MAIL.upper())
    ReplyFactory(visit=written, sender="somebody@else.example")
    RungFactory(site=written.site, person=PersonFactory(), note="for somebody else", at=NOW)
    told = own_data.of(robin, NOW)
    assert [(one["note"], one["why"], one["answered"]) for one in told["calls"]] == [
        ("husband answers", "visit of Robin", Rung.objects.first().reached)
    ]
    assert [(one["from"], one["said"]) for one in told["replies"]] == [(MAIL.upper(), "ACCEPTED")]
    assert [(one["wanted"], one["note"]) for one in told["visits"]] == [
        ("Robin Reed hears a whistle", "bad back")
    ]
    robin.email = ""
    assert own_data.of(robin, NOW)["replies"] == []
