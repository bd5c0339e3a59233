"""The answer page: GET shows, only POST acts."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from xml.etree import ElementTree

import pytest
import segno
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import FilterChange, FilterSlot, Person, Site, SiteRole
from equipment.record import Told, record_change
from schedules import cards, due, emails, reminders
from schedules.models import Answer, Notice, Plan, Visit
from schedules.waiting import chance_past
from shared import signing
from shared.signing import Purpose
from tests.factories import FilterSlotFactory, PlanFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 5, 12, 15, tzinfo=UTC)


@pytest.fixture
def told(home_slot: FilterSlot, homeowner_person: Person) -> str:
    """The address in a letter about the homeowner's filter."""
    home_slot.fitted_on = date(2025, 11, 12)
    home_slot.save()
    due.replan(NOW)
    reminders.write_due(NOW)
    return emails.answer_url(Notice.objects.get()).removeprefix("http://127.0.0.1:8000")


def test_looking_at_the_page_changes_nothing(told: str, stranger: Client) -> None:
    for _ in range(3):
        response = stranger.get(told)
        assert response.status_code == 200
        assert "16 × 25 × 1 in" in response.text
    assert FilterChange.objects.count() == 0


def test_confirming_a_change_moves_the_date(told: str, stranger: Client, home_slot: FilterSlot) -> None:
    assert Plan.objects.get().due_on == date(2026, 5, 14)
    response = stranger.post(
        told,
        {"what": "changed", f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": "2026-05-11"},
        follow=True,
    )
    assert response.status_code == 200
    change = FilterChange.objects.get()
    assert (change.told, change.changed_on) == (FilterChange.Told.OCCUPANT, date(2026, 5, 11))
    assert Plan.objects.get().due_on == date(2026, 5, 11) + timedelta(days=183)
    assert "10 November 2026" in response.text


def test_pressing_twice_records_once(told: str, stranger: Client, home_slot: FilterSlot) -> None:
    data = {"what": "changed", f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": "2026-05-11"}
    stranger.post(told, data, follow=True)
    second = stranger.post(told, data, follow=True)
    assert FilterChange.objects.count() == 1
    assert second.status_code == 422


def test_a_spent_link_says_that_it_is_on_record(told: str, stranger: Client, home_slot: FilterSlot) -> None:
    stranger.post(
        told,
        {"what": "changed", f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": "2026-05-11"},
        follow=True,
    )
    assert "This is already on record" in stranger.get(told).text


def test_a_day_to_come_is_refused_in_plain_words(told: str, stranger: Client, home_slot: FilterSlot) -> None:
    response = stranger.post(
        told,
        {"what": "changed", f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": "2026-06-01"},
        follow=True,
    )
    assert response.status_code == 422
    assert "still to come" in response.text
    assert FilterChange.objects.count() == 0


@pytest.mark.parametrize("typed", ["", "30 February", "2026-02-30"])
def test_a_day_that_is_none_is_refused(
    typed: str, told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    response = stranger.post(
        told, {f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": typed}, follow=True
    )
    assert response.status_code == 422
    assert FilterChange.objects.count() == 0


def test_a_mistaken_change_is_taken_back_with_the_old_date(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    stranger.post(
        told, {f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": "2026-05-11"}, follow=True
    )
    stranger.post(told, {"what": "undo", "change": FilterChange.objects.get().pk}, follow=True)
    assert Plan.objects.get().due_on == date(2026, 5, 14)
    assert FilterChange.objects.get().undone_at == NOW


def test_after_a_week_it_is_not_taken_back(
    told: str, stranger: Client, home_slot: FilterSlot, standing_clock: time_machine.Traveller
) -> None:
    stranger.post(
        told, {f"slot{home_slot.pk}-done": "1", f"slot{home_slot.pk}-on": "2026-05-11"}, follow=True
    )
    standing_clock.move_to(NOW + timedelta(days=8))
    response = stranger.post(told, {"what": "undo", "change": FilterChange.objects.get().pk}, follow=True)
    assert response.status_code == 422
    assert FilterChange.objects.get().undone_at is None


def test_sending_for_somebody_makes_one_visit_to_be_booked(told: str, stranger: Client) -> None:
    stranger.post(told, {"what": "send"}, follow=True)
    stranger.post(told, {"what": "send"}, follow=True)
    visit = Visit.objects.get()
    assert (visit.state, visit.jobs.count()) == (Visit.State.DUE, 1)


def test_another_homes_change_is_not_taken_back(told: str, stranger: Client) -> None:
    other = FilterChange.objects.create(
        slot=FilterSlotFactory(), changed_on=date(2026, 5, 10), changed_at=NOW - timedelta(days=2)
    )
    assert stranger.post(told, {"what": "undo", "change": other.pk}, follow=True).status_code == 422
    other.refresh_from_db()
    assert other.undone_at is None


@pytest.mark.parametrize("change", [lambda t: t + "x", lambda t: "abc", lambda t: t[:-3], lambda t: "é" * 20])
def test_a_strangers_link_opens_nothing(change: object, told: str, stranger: Client) -> None:
    token = told.split("/")[2]
    response = stranger.get(reverse("answer", args=[change(token)]))  # type: ignore[operator]
    assert response.status_code == 404
    assert "not one of ours" in response.text


def test_a_link_to_stop_mail_does_not_answer(told: str, stranger: Client, homeowner_person: Person) -> None:
    token = signing.make(Purpose.STOP_MAIL, f"site:{homeowner_person.pk}")
    assert stranger.get(reverse("answer", args=[token])).status_code == 404


def test_an_old_letters_link_says_that_it_is_too_old(
    told: str, stranger: Client, standing_clock: time_machine.Traveller
) -> None:
    standing_clock.move_to(NOW + timedelta(days=121))
    response = stranger.get(told)
    assert response.status_code == 410
    assert "too old" in response.text


def test_the_cards_link_lasts_for_years(
    home: Site, home_slot: FilterSlot, stranger: Client, standing_clock: time_machine.Traveller
) -> None:
    PlanFactory(slot=home_slot)
    address = reverse("answer", args=[signing.make(Purpose.ANSWER, f"site:{home.pk}")])
    standing_clock.move_to(NOW + timedelta(days=1500))
    assert stranger.get(address).status_code == 200


def test_stopping_mail_needs_a_post_and_no_cookie(homeowner_person: Person) -> None:
    address = emails.stop_url(homeowner_person, "filters").removeprefix("http://127.0.0.1:8000")
    strict = Client(enforce_csrf_checks=True)
    strict.get(address)
    homeowner_person.refresh_from_db()
    assert homeowner_person.wants_filter_mail
    assert strict.post(address, {"List-Unsubscribe": "One-Click"}).status_code == 200
    homeowner_person.refresh_from_db()
    assert not homeowner_person.wants_filter_mail
    strict.post(address, {"what": "resume"})
    homeowner_person.refresh_from_db()
    assert homeowner_person.wants_filter_mail


def test_of_two_ticked_filters_both_are_recorded_or_none(
    home_slot: FilterSlot, homeowner_person: Person, stranger: Client
) -> None:
    other = FilterSlotFactory(system=home_slot.system)
    record_change(other, date(2026, 5, 12), None, Told("occupant", "occupant"), NOW)
    due.replan(NOW)
    address = reverse("answer", args=[signing.make(Purpose.ANSWER, f"site:{home_slot.system.site_id}")])
    said = {
        f"slot{slot.pk}-{key}": value
        for slot in (home_slot, other)
        for key, value in (("done", "1"), ("on", "2026-05-11"))
    }
    response = stranger.post(address, {"what": "changed", **said}, follow=True)
    assert response.status_code == 422
    assert "later change" in response.text
    assert home_slot.changes.count() == 0


def test_a_change_from_the_desks_sheets_is_not_the_households_to_take_back(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    change = record_change(home_slot, date(2026, 5, 11), None, Told("technician", "import"), NOW)
    assert "Take it back" not in stranger.get(told).text
    assert stranger.post(told, {"what": "undo", "change": change.pk}, follow=True).status_code == 422
    change.refresh_from_db()
    assert change.undone_at is None


def test_only_the_last_change_of_a_filter_can_be_taken_back(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    first = record_change(home_slot, date(2026, 5, 8), None, Told("occupant", "occupant"), NOW)
    record_change(home_slot, date(2026, 5, 11), None, Told("occupant", "occupant"), NOW)
    assert stranger.get(told).text.count("Take it back") == 1
    assert stranger.post(told, {"what": "undo", "change": first.pk}, follow=True).status_code == 422


def test_the_cards_code_scales_whole_and_opens_the_answer_page(home: Site) -> None:
    code = cards.answer_code(home)
    drawing = ElementTree.fromstring(code["code"])
    side = segno.make(code["address"], error="m").symbol_size()[0]
    assert drawing.get("viewBox") == f"0 0 {side} {side}"
    assert (drawing.get("width"), drawing.get("height")) == (None, None)


def other(stranger: Client, told: str, what: str, slot: FilterSlot, **more: str) -> Any:
    return stranger.post(told, {"what": what, "slot": str(slot.pk), **more}, follow=True)


def test_not_yet_says_what_waiting_costs_and_reminds(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    with time_machine.travel(NOW, tick=False):
        page = stranger.get(told).text
        assert "What waiting costs" in page
        assert "until 19 May" in page
        said = other(stranger, told, "not-yet", home_slot, days="7")
        assert "We remind you on 19 May 2026." in said.text
        assert other(stranger, told, "not-yet", home_slot, days="400").status_code == 422
    answer = Answer.objects.get()
    assert (answer.kind, answer.until) == (Answer.Kind.NOT_YET, date(2026, 5, 19))


def test_another_size_is_told_and_the_one_on_record_is_no_news(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    with time_machine.travel(NOW, tick=False):
        same = other(stranger, told, "wrong-size", home_slot, size="16 x 25 x 1")
        assert (same.status_code, "on record too" in same.text) == (422, True)
        assert other(stranger, told, "wrong-size", home_slot, size=" ").status_code == 422
        assert "We look into the size" in other(stranger, told, "wrong-size", home_slot, size="20x20x1").text
    assert Answer.objects.get().text == "20x20x1"


def test_who_cannot_reach_it_gets_somebody_for_that_filter(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    with time_machine.travel(NOW, tick=False):
        assert "we ring you to agree on a day" in other(stranger, told, "no-reach", home_slot).text
        assert other(stranger, told, "no-reach", home_slot).status_code == 200
    visit = Visit.objects.get()
    assert [job.slot for job in visit.jobs.all()] == [home_slot]


@pytest.mark.parametrize("slot", ["", "x", "999999"])
def test_an_answer_about_no_filter_of_the_link_is_refused(told: str, stranger: Client, slot: str) -> None:
    with time_machine.travel(NOW, tick=False):
        answer = stranger.post(told, {"what": "not-yet", "slot": slot, "days": "7"}, follow=True)
    assert answer.status_code == 422
    assert "Say which filter you mean." in answer.text
    assert not Answer.objects.exists()


def test_the_link_of_who_moved_out_is_closed(told: str, stranger: Client) -> None:
    SiteRole.objects.update(until=date(2026, 5, 12))
    with time_machine.travel(NOW, tick=False):
        assert stranger.get(told).status_code == 410
        assert stranger.post(told, {"what": "send"}, follow=True).status_code == 410
    assert not Visit.objects.exists()


@pytest.mark.parametrize(
    ("day", "chance"),
    [(date(2026, 5, 1), 0.1), (date(2026, 6, 1), 0.5), (date(2026, 7, 15), 0.9), (date(2026, 5, 16), 0.2500)],
)
def test_the_chance_past_the_limit_meets_the_plan_s_quantiles(day: date, chance: float) -> None:
    """The halfway day of the lower half: 16 of 31 days below the median is 0.661 deviations, 0.254."""
    plan = Plan(p10_on=date(2026, 5, 1), p50_on=date(2026, 6, 1), p90_on=date(2026, 7, 15))
    assert chance_past(plan, day) == pytest.approx(chance, abs=0.005)
    assert chance_past(Plan(), day) is None


def test_a_card_opens_for_its_own_household_only(
    home_slot: FilterSlot, homeowner_person: Person, stranger: Client
) -> None:
    card = cards.answer_code(home_slot.system.site)["address"].removeprefix("http://127.0.0.1:8000")
    assert stranger.get(card).status_code == 200
    SiteRole.objects.update(until=date(2026, 5, 12))
    assert stranger.get(card).status_code == 410
    new = cards.answer_code(home_slot.system.site)["address"].removeprefix("http://127.0.0.1:8000")
    assert stranger.get(new).status_code == 200
    Site.objects.update(vacant_since=date(2026, 5, 12))
    assert stranger.get(new).status_code == 410


def test_the_page_shows_what_was_answered(told: str, stranger: Client, home_slot: FilterSlot) -> None:
    with time_machine.travel(NOW, tick=False):
        other(stranger, told, "not-yet", home_slot, days="7")
        page = stranger.get(told).text
    assert "you told us on 12 May 2026: not yet." in page
    assert "We remind you on 19 May 2026." in page


def test_filters_in_one_place_are_told_apart_by_their_codes(
    told: str, stranger: Client, home_slot: FilterSlot
) -> None:
    FilterSlot.objects.update(location="attic rack")
    with time_machine.travel(NOW, tick=False):
        assert ">home-hall</span>" not in stranger.get(told).text
        FilterSlotFactory(name="home-attic", system=home_slot.system, location="attic rack")
        page = stranger.get(told).text
    assert ">home-hall</span>" in page
    assert ">home-attic</span>" in page
