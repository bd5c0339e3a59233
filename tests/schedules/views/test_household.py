"""A household's own page: everything it may do, each once, and its data."""

import json
from datetime import date, datetime, time, timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import FilterChange, FilterSlot, Person, Site, User
from schedules import own_data
from schedules.models import Answer, Notice, Plan, Reply, Rung, SentFilter, Visit
from shared.place_picture import CEILING, FLOOR, RACK, WALL, kind_of, place_picture
from tests.factories import (
    FilterSlotFactory,
    MediaFactory,
    NoticeFactory,
    PlanFactory,
    ReadingFactory,
    ReplyFactory,
    RungFactory,
    SiteFactory,
    TechnicianFactory,
)

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


@pytest.fixture(autouse=True)
def today(now: datetime) -> object:
    with time_machine.travel(now, tick=False) as standing:
        yield standing


@pytest.fixture
def slot(home_slot: FilterSlot, homeowner_user: User) -> FilterSlot:
    home_slot.fitted_on = date(2025, 11, 12)
    home_slot.changed_by = FilterSlot.ChangedBy.OCCUPANT
    home_slot.save()
    PlanFactory(slot=home_slot, due_on=TODAY + timedelta(days=2))
    return home_slot


def press(homeowner: Client, slot: FilterSlot, what: str, **more: str) -> str:
    data = {"what": what, "slot": str(slot.pk), **more}
    answer = homeowner.post(reverse("site-answer", args=[slot.system.site_id]), data, follow=True)
    # What is refused stands where it was typed; all else is a page that can be loaded again.
    assert bool(answer.redirect_chain) == (answer.status_code == 200)
    return str(answer.text)


def test_a_change_is_written_down_once_however_often_it_is_pressed(
    homeowner: Client, slot: FilterSlot
) -> None:
    told = {f"slot{slot.pk}-done": "1", f"slot{slot.pk}-on": TODAY.isoformat()}
    thanks = "Thank you. Your new dates are below. home-hall: next by "
    assert thanks in press(homeowner, slot, "changed", **told)
    assert thanks in press(homeowner, slot, "changed", **told)
    change = FilterChange.objects.get()
    assert (change.told, change.changed_on) == (FilterChange.Told.OCCUPANT, TODAY)
    assert Plan.objects.get(slot=slot).due_on > TODAY + timedelta(days=100)
    page = homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "Last changed on 12 May 2026." in page
    assert "Taken back" in press(homeowner, slot, "undo", change=str(change.pk))


def test_later_sent_to_me_and_somebody_are_each_a_press(homeowner: Client, slot: FilterSlot) -> None:
    assert "We remind you on" in press(homeowner, slot, "not-yet", days="7")
    assert "We send you this filter" in press(homeowner, slot, "post-it")
    assert SentFilter.objects.get().slot == slot
    assert "We send it, you change it." in homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "We do not send this filter any more" in press(homeowner, slot, "fetch-it")
    assert not SentFilter.objects.exists()
    assert "look into the size" in press(homeowner, slot, "wrong-size", size="20x20x1")
    assert "We will ring you" in press(homeowner, slot, "send")
    assert Visit.objects.filter(site=slot.system.site).exists()
    assert set(Answer.objects.values_list("person", flat=True)) == {Person.objects.get().pk}


@pytest.mark.parametrize("what", ["post-it", "not-yet", "changed", "wrong-size", "no-reach"])
def test_of_another_home_nothing_can_be_pressed(homeowner: Client, slot: FilterSlot, what: str) -> None:
    other = PlanFactory().slot
    data = {"what": what, "slot": str(other.pk), f"slot{other.pk}-done": "1"}
    address = reverse("site-answer", args=[other.system.site_id])
    assert homeowner.post(address, data).status_code == 404
    homeowner.post(reverse("site-answer", args=[slot.system.site_id]), data)
    assert not FilterChange.objects.filter(slot=other).exists()
    assert not SentFilter.objects.exists()


def test_wishes_are_kept_and_the_page_speaks_the_language(homeowner: Client, slot: FilterSlot) -> None:
    address = reverse("household-wishes", args=[slot.system.site_id])
    answer = homeowner.post(address, {"language": "es", "wants_visit_mail": "on"}, follow=True)
    person = Person.objects.get()
    assert (person.language, person.wants_filter_mail, person.wants_visit_mail) == ("es", False, True)
    assert "Hemos anotado lo que desea." in answer.text
    assert homeowner.post(address, {"language": "xx"}).status_code == 422


def test_my_data_holds_everything_about_me_and_nothing_about_others(
    homeowner: Client, slot: FilterSlot, homeowner_person: Person
) -> None:
    ReadingFactory(slot=slot)
    NoticeFactory(person=homeowner_person, site=slot.system.site, subject="Your filter", text="is due")
    NoticeFactory(site=SiteFactory(), subject="Somebody else's")
    answer = homeowner.get(reverse("my-data"))
    assert "attachment" in answer["Content-Disposition"]
    told = json.loads(answer.content)
    assert told["person"]["name"] == homeowner_person.name
    assert [one["code"] for one in told["filters"]] == [slot.name]
    assert len(told["filters"][0]["readings"]) == 1
    assert [one["subject"] for one in told["letters"]] == ["Your filter"]
    assert "Somebody else" not in answer.text


def test_whoever_is_erased_is_nowhere_and_the_house_remembers(
    homeowner: Client, slot: FilterSlot, homeowner_person: Person, home: Site, now: datetime
) -> None:
    name, mail = homeowner_person.name, "robin@home.example"
    ReadingFactory(slot=slot)
    NoticeFactory(person=homeowner_person, site=home, text=f"Dear {name}", sent_to=mail, state="sent")
    NoticeFactory(person=homeowner_person, site=home, state="waiting")
    RungFactory(person=homeowner_person, site=home, note=f"{name} has a bad back")
    ReplyFactory(sender="robin@home.example")
    Person.objects.update(email="robin@home.example")
    assert homeowner.post(reverse("erase-me"), follow=True).status_code == 200
    assert Person.objects.get().name == name
    assert "You are erased from our record." in homeowner.post(reverse("erase-me"), {"sure": "1"}).text
    person = Person.objects.get()
    told = json.dumps(own_data.of(person, now)) + str(list(person.history.values()))
    assert name not in told
    assert mail not in told
    assert [Rung.objects.get().note, Reply.objects.get().sender] == ["", ""]
    assert (person.email, person.wants_filter_mail, person.roles.filter(until=None).count()) == ("", False, 0)
    assert set(Notice.objects.values_list("state", "sent_to", "text")) == {
        ("sent", "", ""),
        ("not_sent", "", ""),
    }
    assert slot.readings.count() == 1
    assert homeowner.get(reverse("site", args=[home.pk])).status_code == 302
    assert not User.objects.get(person=person).is_active


def test_a_change_that_is_refused_keeps_what_was_typed_where_it_was(
    homeowner: Client, slot: FilterSlot, today: time_machine.Traveller
) -> None:
    pleat = MediaFactory(nominal_size=slot.nominal_size)
    field, day = f"slot{slot.pk}", str(TODAY + timedelta(days=300))
    told = {f"{field}-done": "1", f"{field}-on": day, f"{field}-medium": str(pleat.pk)}
    page = press(homeowner, slot, "changed", **told)
    assert f'value="{day}"' in page
    assert f'<option value="{pleat.pk}" selected>' in page
    assert f'id="id_{field}-on_error">That day is still to come.</p>' in page
    assert "write a year between 1950 and 2100." in press(
        homeowner, slot, "changed", **{**told, f"{field}-on": "1900-01-01"}
    )
    assert not FilterChange.objects.exists()
    # The same an hour later, by another filter: no second press, and refused.
    told[f"{field}-on"] = str(TODAY)
    press(homeowner, slot, "changed", **told)
    today.shift(timedelta(hours=1))
    assert "already on record" in press(homeowner, slot, "changed", **told)


def test_whoever_comes_stands_at_the_top_with_the_hours(homeowner: Client, slot: FilterSlot) -> None:
    press(homeowner, slot, "send")
    page = homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "A visit is asked for: we ring you to agree on a day." in page
    Visit.objects.update(
        state="confirmed", technician=TechnicianFactory(name="Ada Reed"), day=TODAY + timedelta(days=3),
        window_from=time(8), window_to=time(12),
    )  # fmt: skip
    page = homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "Ada Reed comes on 15 May 2026 between 08:00 and 12:00." in page
    assert "A visit is asked for" not in page


def test_what_was_told_names_its_filter_and_the_last_word_holds(homeowner: Client, slot: FilterSlot) -> None:
    press(homeowner, slot, "wrong-size", size="as wide as a door")
    page = homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "<q>as wide as a door</q>" in page
    press(homeowner, slot, "not-yet", days="7")
    page = homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "you told us on 12 May 2026: not yet." in page
    assert "as wide as a door" not in page


def test_waiting_is_not_free_where_its_age_sets_the_day(homeowner: Client, slot: FilterSlot) -> None:
    far = TODAY + timedelta(days=400)
    Plan.objects.update(due_on=TODAY - timedelta(days=5), reason="medium", p10_on=far, p50_on=far, p90_on=far)
    page = homeowner.get(reverse("site", args=[slot.system.site_id])).text
    assert "until 15 May: 8 days past the age it may reach, though not too full" in page
    assert "hardly any risk" not in page


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("hall ceiling", CEILING),
        ("techo del pasillo", CEILING),
        ("attic rack", RACK),
        ("basement", RACK),
        ("hall", WALL),
        ("bedroom floor grille", FLOOR),
        ("rejilla del piso", FLOOR),
        ("second floor hallway", WALL),
        ("closet ceiling grille", CEILING),
        ("ceiling grille below the attic", CEILING),
        ("basement wall grille", WALL),
        ("basement rack beside the furnace", RACK),
    ],
)
def test_the_picture_is_of_the_place(place: str, kind: str) -> None:
    assert kind_of(place) == kind
    assert f"<title>{place}</title>" in place_picture(place, place, "with the air")


def test_forty_filters_take_no_more_queries_and_every_one_its_card(
    homeowner: Client, slot: FilterSlot
) -> None:
    MediaFactory(nominal_size=slot.nominal_size)
    address = reverse("site", args=[slot.system.site_id])

    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert homeowner.get(address).status_code == 200
        return len(caught)

    PlanFactory(slot=FilterSlotFactory(system=slot.system, nominal_size="20x20x1"))
    asked()
    few = asked()
    for n in range(38):
        PlanFactory(
            slot=FilterSlotFactory(system=slot.system, location=f"קומה {n} " + "very long hall " * 11)
        )
    assert asked() == few
    page = homeowner.get(address).text
    assert page.count('<article class="filter-card"') == 40
