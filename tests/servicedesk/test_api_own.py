"""What is a household's own, what fits, what is carried along and times to choose from, by program."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import Meanwhile, Media, Person, Site, SiteRole, System, User
from schedules import feeds, tags
from schedules.calendar_events import Owner
from schedules.erasure import is_erased
from schedules.models import Notice, Tag, Technician, VanTick, Visit, VisitJob, Wish
from servicedesk.access import Who
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import (
    NOW,
    TODAY,
    MediaFactory,
    MediaPointFactory,
    PersonFactory,
    SiteRoleFactory,
    TechnicianFactory,
    VisitFactory,
)
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Record, Write

pytestmark = pytest.mark.django_db
TOMORROW = TODAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def somebody(record: Record) -> None:
    """The homeowner's account has its person."""
    person = Person.objects.filter(user=record.homeowner).first() or PersonFactory(name="Pia Holm")
    User.objects.filter(pk=record.homeowner.pk).update(person=person)
    record.homeowner.refresh_from_db()


def own(address: str) -> Any:
    def begin(record: Record) -> str:
        somebody(record)
        return f"/api/v1/{address}"

    return begin


def wanted() -> object:
    return list(Wish.objects.values_list("subject", "wanted", "how"))


def for_a_while(record: Record) -> str:
    """A filter whose airflow is known, and two media of its size."""
    System.objects.update(design_airflow_m3s=400 * M3S_PER_CFM, return_budget_pa=1.5 * PA_PER_INWC)
    for name, merv in (("Pleat 8", 8), ("Pleat 11", 11)):
        media = MediaFactory(name=name, merv=merv)
        for cfm, inwc in ((300, 0.06), (500, 0.12)):
            MediaPointFactory(media=media, airflow_m3s=cfm * M3S_PER_CFM, clean_drop_pa=inwc * PA_PER_INWC)
    record.slot.first_media = Media.objects.get(name="Pleat 8")
    record.slot.save()
    return "/api/v1/filters/hall/for-a-while"


def a_van(record: Record) -> str:
    visit = VisitFactory(site=record.home, technician=record.technician, day=TOMORROW, state="scheduled")
    VisitJob.objects.create(visit=visit, slot=record.slot)
    return f"/api/v1/technicians/{record.technician.pk}/van/loaded"


def a_line(record: Record) -> dict[str, Any]:
    address = f"/api/v1/technicians/{record.technician.pk}/van?day={TOMORROW}"
    (line,) = program_of(record.manager).get(address).json()["lines"]
    return {"day": str(TOMORROW), "line": line["line"], "count": 2}


def a_tag(record: Record) -> str:
    tags.tag_of(record.slot, NOW)
    return f"/api/v1/sites/{record.home.pk}/tags/withdrawn"


def a_wait(record: Record) -> str:
    Site.objects.update(latitude=41.9, longitude=-87.8)
    Technician.objects.update(start_latitude=41.88, start_longitude=-87.75)
    SiteRoleFactory(site=record.home, person=PersonFactory(email="pia@home.example"), role="occupant")
    visit = VisitFactory(site=record.home, state="due", technician=None, day=None)
    return f"/api/v1/visits/{visit.pk}/times/offered"


def first_time(record: Record) -> dict[str, Any]:
    visit = Visit.objects.get()
    found = program_of(record.manager).get(f"/api/v1/visits/{visit.pk}/times").json()
    return {"times": [found[0]["name"]]}


WRITES = [
    Write(
        "api-my-wishes", own("my-wishes"), wanted, [("filters", False, "own_page")],
        {"wants_filter_mail": False},
        refused={"language": "xx"}, who=Who.HOMEOWNER, shut=Who.MANAGER,
        answer=lambda told: told["wants_visit_mail"] and not told["wants_filter_mail"],
    ),
    Write(
        "api-calendar-turned", lambda record: f"/api/v1/sites/{record.home.pk}/calendar/turned",
        lambda: feeds.open_feeds(Owner(site=Site.objects.get())).count(), 1,
        spoil=lambda: SiteRole.objects.update(until=TODAY), who=Who.HOMEOWNER, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-for-a-while", for_a_while, lambda: list(Meanwhile.objects.values_list("media__name", "ends_on")),
        [("Pleat 11", TODAY + timedelta(days=14))],
        {"media": "Pleat 11", "ends_on": str(TODAY + timedelta(days=14)), "why": "smoke"},
        refused={"media": "Pleat 8", "ends_on": str(TODAY + timedelta(days=14))},
    ),
    Write(
        "api-van-loaded", a_van, lambda: list(VanTick.objects.values_list("count", flat=True)), [2], a_line,
        refused={"day": str(TOMORROW), "line": "none", "count": 2}, who=Who.TECHNICIAN,
    ),
    Write(
        "api-tags-withdrawn", a_tag, lambda: Tag.objects.filter(withdrawn_at=NOW).count(), 1,
        {"filter_slots": ["hall"]}, refused={"filter_slots": ["attic"]},
    ),
    Write(
        "api-times-offered", a_wait, lambda: Notice.objects.filter(kind="times").count(), 1, first_time,
        refused={"times": ["1:2026-05-13:0800"]}, shut=Who.TECHNICIAN,
        answer=lambda told: bool(told["person"]),
    ),
]  # fmt: skip


def test_a_household_takes_its_data_along(record: Record) -> None:
    somebody(record)
    told = program_of(record.homeowner).get("/api/v1/my-data").json()
    assert told["person"]["name"] == record.homeowner.person.name  # type: ignore[union-attr]
    assert program_of(record.manager).get("/api/v1/my-data").status_code == 403


def test_who_is_erased_by_program_has_no_key_any_more(record: Record) -> None:
    somebody(record)
    person, ask = record.homeowner.person, program_of(record.homeowner)
    assert person is not None
    assert ask.post("/api/v1/my-data/erased", {}).json()["ask"] == "sure"
    person.refresh_from_db()
    assert not is_erased(person)
    assert program_of(record.manager).post("/api/v1/my-data/erased", {"sure": True}).status_code == 403
    assert "erased" in ask.post("/api/v1/my-data/erased", {"sure": True}).json()["said"]
    person.refresh_from_db()
    assert is_erased(person)
    assert ask.get("/api/v1/my-data").status_code == 401


def test_what_fits_says_why(record: Record) -> None:
    for_a_while(record)
    told = {
        one["media"]: one
        for one in program_of(record.homeowner).get("/api/v1/filters/hall/fits").json()["media"]
    }
    assert told["Pleat 8"]["fitted"]
    assert told["Pleat 11"]["will_do"]
    assert told["Pleat 11"]["why"]
    assert program_of(record.homeowner).get("/api/v1/filters/attic/fits").status_code == 404


def test_a_calendars_address_is_told_to_those_who_go_there(record: Record) -> None:
    address = f"/api/v1/sites/{record.home.pk}/calendar"
    ask = program_of(record.homeowner)
    assert ask.get(address).json() == {"address": ""}
    ask.post(f"{address}/turned", {})
    answer = ask.get(address)
    assert "/calendar/" in answer.json()["address"]
    assert "private" in answer["Cache-Control"]
    assert record.technician.user is not None
    assert program_of(record.technician.user).get(address).status_code == 403


def test_a_technician_sees_its_own_van_alone(record: Record) -> None:
    assert record.technician.user is not None
    ask, other = program_of(record.technician.user), TechnicianFactory(name="Bo")
    assert ask.get(f"/api/v1/technicians/{record.technician.pk}/van?day={TOMORROW}").json()["lines"] == []
    assert ask.get(f"/api/v1/technicians/{other.pk}/van?day={TOMORROW}").status_code == 403


def test_tags_are_told_to_be_printed(record: Record) -> None:
    (told,) = program_of(record.manager).get(f"/api/v1/sites/{record.home.pk}/tags").json()
    assert told["filter_slot"] == "hall"
    assert tags.found(told["code"]) is not None
