"""Times offered to a household: found in the rounds as they stand, written, chosen, declined, rung about."""

import re
from collections.abc import Iterator
from datetime import date, time, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Site
from schedules import call_list, offered_times, sending
from schedules.bookable import NotBookable
from schedules.models import Notice, OfferedTime, Technician, Visit
from schedules.offered_times import choose, decline, find_times, offer
from schedules.open_times import PATIENCE, open_times
from schedules.rounds import ask
from schedules.visit_notices import write_visits
from tests.factories import (
    NOW,
    TODAY,
    DeskFactory,
    HomeHoursFactory,
    MaintenanceTaskFactory,
    PersonFactory,
    PlanFactory,
    RoundPlanFactory,
    SiteFactory,
    SiteRoleFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def visit(home_slot: FilterSlot) -> Visit:
    """A visit that waits for a day, at a placed home with mail; one technician works near it."""
    DeskFactory(name="Elm and Ash Air", phone="555 0100", timezone="America/Chicago")
    site = home_slot.system.site
    Site.objects.filter(pk=site.pk).update(latitude=41.9, longitude=-87.8)
    site.roles.all().delete()
    SiteRoleFactory(site=site, person=PersonFactory(name="Robin", email="robin@home.example"))
    TechnicianFactory(name="Van one", start_latitude=41.88, start_longitude=-87.75)
    PlanFactory(slot=home_slot, due_on=TODAY + timedelta(days=9))
    waiting: Visit = VisitFactory(site=Site.objects.get(pk=site.pk), minutes=40)
    VisitJobFactory(visit=waiting, slot=home_slot)
    return waiting


def chosen(visit: Visit) -> Visit:
    one = open_times(visit, NOW).first()
    assert one is not None
    return choose(visit, one.pk, NOW)


def test_three_times_on_three_days_are_found_before_it_is_late(visit: Visit) -> None:
    found = find_times(visit, NOW)
    assert len(found) == 3
    assert len({one.day for one in found}) == 3
    assert {one.first for one in found} == {time(8), time(12)}
    assert all(TODAY + timedelta(days=3) <= one.day <= TODAY + timedelta(days=9) for one in found)
    assert all(one.day.weekday() < 5 for one in found)
    visit.refresh_from_db()
    assert (visit.state, visit.day, visit.arrive_at) == (Visit.State.DUE, None, None)


def test_a_day_on_which_somebody_is_next_door_comes_first(visit: Visit) -> None:
    neighbour = SiteFactory(name="next door", latitude=41.901, longitude=-87.801)
    near = TODAY + timedelta(days=8)
    one = VisitFactory(
        site=neighbour, technician=Technician.objects.get(), day=near, state=Visit.State.SCHEDULED
    )
    ranked = sorted(offered_times._candidates(visit, NOW), key=lambda time: time.cost_s)
    assert ranked[0].day == near == one.day
    # By hand: the way there and back from the depot, against the few steps from next door.
    assert ranked[0].cost_s < 300 < ranked[-1].cost_s
    assert near in {time.day for time in find_times(visit, NOW)}


def test_a_full_day_is_not_offered(visit: Visit) -> None:
    days = {one.day for one in find_times(visit, NOW)}
    full = min(days)
    site = SiteFactory(name="long job", latitude=41.89, longitude=-87.76)
    VisitFactory(
        site=site, technician=Technician.objects.get(), day=full, state=Visit.State.SCHEDULED, minutes=500,
        arrive_at=NOW.replace(day=full.day, month=full.month, hour=14),
    )  # fmt: skip
    assert full not in {one.day for one in find_times(visit, NOW)}


def test_hours_and_days_that_suit_the_home_are_kept(visit: Visit) -> None:
    HomeHoursFactory(site=visit.site, weekdays=[1], not_before=time(14))
    found = find_times(visit, NOW)
    assert found
    assert all(one.day.weekday() == 1 and one.first >= time(14) for one in found)


def test_nothing_is_found_where_nobody_has_the_skill(visit: Visit) -> None:
    visit.skills = ["gas"]
    visit.save()
    assert find_times(visit, NOW) == []


def test_a_home_without_a_position_and_a_booked_visit_are_refused(visit: Visit) -> None:
    Site.objects.update(latitude=None, longitude=None)
    with pytest.raises(NotBookable, match="no position"):
        find_times(Visit.objects.get(pk=visit.pk), NOW)
    Visit.objects.update(
        state=Visit.State.SCHEDULED, technician=Technician.objects.get(), day=TODAY + timedelta(days=4)
    )
    with pytest.raises(NotBookable, match="waits for a day"):
        find_times(Visit.objects.get(pk=visit.pk), NOW)


def test_the_letter_offers_them_and_its_link_books_one(visit: Visit, client: Client) -> None:
    notice = offer(visit, find_times(visit, NOW), NOW)
    assert sending.send_one(notice.send_at)
    letter = mail.outbox[0]
    assert letter.to == ["robin@home.example"]
    assert letter.subject == "When may we come to you?"
    body = str(letter.body)
    assert body.count("between") == 3
    assert "Van one" in body
    assert "List-Unsubscribe" in letter.extra_headers
    link = re.search(r"http\S+(/times/\S+)", body)
    assert link
    page = client.get(link[1])
    assert page.text.count('type="radio"') == 3
    assert Visit.objects.get().state == Visit.State.DUE  # looking books nothing

    one = open_times(visit, NOW).last()
    assert one is not None
    answer = client.post(link[1], {"time": one.pk}, follow=True)
    assert answer.status_code == 200
    booked = Visit.objects.get()
    assert (booked.state, booked.day, booked.technician) == (Visit.State.CONFIRMED, one.day, one.technician)
    assert (booked.window_from, booked.window_to) == (one.first, one.last)
    assert booked.arrive_at is not None
    assert "We come on" in answer.text
    again = client.post(link[1], {"time": one.pk}, follow=True)
    assert again.status_code == 200
    assert "We come on" in again.text
    assert Visit.objects.get().day == one.day
    # The letter about the visit follows, with the hours that were chosen.
    assert write_visits(NOW) == 1


def test_a_time_that_was_filled_meanwhile_is_given_up_and_the_others_stand(visit: Visit) -> None:
    offer(visit, find_times(visit, NOW), NOW)
    one = open_times(visit, NOW).first()
    assert one is not None
    site = SiteFactory(name="long job", latitude=41.89, longitude=-87.76)
    VisitFactory(
        site=site, technician=one.technician, day=one.day, state=Visit.State.SCHEDULED, minutes=530,
        arrive_at=NOW.replace(day=one.day.day, month=one.day.month, hour=13, minute=5),
    )  # fmt: skip
    with pytest.raises(NotBookable, match="given away meanwhile"):
        choose(visit, one.pk, NOW)
    visit.refresh_from_db()
    assert visit.state == Visit.State.DUE
    assert open_times(visit, NOW).count() == 2
    assert chosen(visit).state == Visit.State.CONFIRMED


def test_of_two_who_choose_one_after_another_the_first_is_booked(visit: Visit) -> None:
    offer(visit, find_times(visit, NOW), NOW)
    first, second = (one.pk for one in open_times(visit, NOW)[:2])
    choose(visit, first, NOW)
    with pytest.raises(NotBookable, match="stands no longer"):
        choose(visit, second, NOW)
    assert OfferedTime.objects.filter(chosen_at__isnull=False).count() == 1


def test_another_offer_takes_the_place_of_the_first(visit: Visit) -> None:
    found = find_times(visit, NOW)
    first = offer(visit, found[:1], NOW)
    offer(visit, found[1:], NOW)
    first.refresh_from_db()
    assert first.state == Notice.State.NOT_SENT
    assert open_times(visit, NOW).count() == 2


def test_whoever_declines_is_rung(visit: Visit) -> None:
    offer(visit, find_times(visit, NOW), NOW)
    assert not [call for call in call_list.calls(NOW) if "offered" in call.why]
    decline(visit, NOW)
    calls = [call for call in call_list.calls(NOW) if "none of the times offered suits" in call.why]
    assert len(calls) == 1
    call_list.write_call(calls[0].key, reached=True, note="Friday", user=None, now=NOW)
    assert not [call for call in call_list.calls(NOW) if "none of the times" in call.why]


@pytest.mark.parametrize(("days", "rung"), [(4, False), (6, True)])
def test_whoever_does_not_answer_is_rung_after_some_days(visit: Visit, days: int, rung: bool) -> None:
    offer(visit, find_times(visit, NOW)[-1:], NOW)
    later = NOW + timedelta(days=days)
    assert timedelta(days=5) == PATIENCE
    whys = [call.why for call in call_list.calls(later)]
    assert any("no answer to the times" in why or "stand no longer" in why for why in whys) is rung


def test_times_lapse_and_a_letter_of_them_is_not_sent(visit: Visit) -> None:
    notice = offer(visit, find_times(visit, NOW), NOW)
    late = NOW + timedelta(days=40)
    assert not open_times(visit, late).exists()
    assert sending.stale(notice, late) == "the times offered stand no longer"


def test_a_household_without_mail_is_refused(visit: Visit) -> None:
    visit.site.roles.all().delete()
    with pytest.raises(NotBookable, match="mail address"):
        offer(visit, find_times(visit, NOW), NOW)


def page_of(visit: Visit) -> str:
    return reverse("visit-times", args=[visit.pk])


def test_the_managers_page_offers_what_is_ticked(visit: Visit, manager: Client) -> None:
    text = manager.get(page_of(visit)).text
    assert "3 times find a place in the rounds" in text
    keys = re.findall(r'name="time" value="([^"]+)"', text)
    answer = manager.post(page_of(visit), {"time": keys[1:]})
    assert answer.status_code == 302
    assert OfferedTime.objects.filter(closed_at=None).count() == 2
    assert Notice.objects.get().kind == Notice.Kind.TIMES
    assert reverse("visit-times", args=[visit.pk]) in manager.get(reverse("visit", args=[visit.pk])).text


@pytest.mark.parametrize("ticked", [[], ["1:2026-01-01:0800"], ["nonsense"]])
def test_nothing_ticked_is_said(visit: Visit, manager: Client, ticked: list[str]) -> None:
    answer = manager.post(page_of(visit), {"time": ticked})
    assert answer.status_code == 422
    assert "Choose at least one time" in answer.text
    assert not Notice.objects.exists()


@pytest.mark.parametrize("told", [{}, {"time": "x"}, {"time": "999999"}])
def test_an_answer_that_names_no_time_books_nothing(
    visit: Visit, client: Client, told: dict[str, Any]
) -> None:
    notice = offer(visit, find_times(visit, NOW), NOW)
    assert sending.send_one(notice.send_at)
    link = re.search(r"http\S+(/times/\S+)", str(mail.outbox[0].body))
    assert link
    answer = client.post(link[1], told)
    assert answer.status_code == 422
    assert Visit.objects.get().state == Visit.State.DUE
    assert client.get("/times/forged/").status_code == 404


def test_hours_are_said_in_the_households_zone(visit: Visit) -> None:
    Site.objects.update(timezone="America/Denver")
    fresh = Visit.objects.select_related("site").get(pk=visit.pk)
    notice = offer(fresh, find_times(fresh, NOW)[:1], NOW)
    assert sending.send_one(notice.send_at)
    one = OfferedTime.objects.get(closed_at=None)
    hour = one.first.hour - 1
    assert f"{one.day:%A} {one.day.day} {one.day:%B %Y} between {hour:02d}:00" in str(mail.outbox[0].body)
    assert isinstance(one.day, date)


def test_an_offer_becomes_a_visit_that_waits_for_the_households_choice(
    visit: Visit, manager: Client, home_slot: FilterSlot
) -> None:
    visit.delete()
    told = {"what": "times", "site": home_slot.system.site_id, "slot": home_slot.pk}
    answer = manager.post(reverse("visits"), told)
    waiting = Visit.objects.get()
    assert (waiting.state, waiting.day) == (Visit.State.DUE, None)
    assert answer["Location"] == page_of(waiting)
    again = manager.post(reverse("visits"), told, follow=True)
    assert "already part of an open visit" in again.text


def test_none_suits_after_somebody_booked_it_promises_no_call(visit: Visit, client: Client) -> None:
    notice = offer(visit, find_times(visit, NOW), NOW)
    assert sending.send_one(notice.send_at)
    link = re.search(r"http\S+(/times/\S+)", str(mail.outbox[0].body))
    assert link
    Visit.objects.update(
        state=Visit.State.SCHEDULED, technician=Technician.objects.get(), day=TODAY + timedelta(days=4)
    )
    answer = client.post(link[1], {"what": "none"})
    assert "It is booked already: ring us" in answer.text
    assert "We will ring you" not in answer.text


def test_a_plan_leaves_a_household_its_choice_and_the_list_says_so(visit: Visit, manager: Client) -> None:
    plan = RoundPlanFactory(first_day=TODAY + timedelta(days=1), last_day=TODAY + timedelta(days=10))
    assert f"visit-{visit.pk}" in ask(plan, TODAY).trips
    offer(visit, find_times(visit, NOW), NOW)
    assert f"visit-{visit.pk}" not in ask(plan, TODAY).trips
    assert "times offered, no answer yet" in manager.get(reverse("visits")).text
    decline(visit, NOW)
    assert f"visit-{visit.pk}" in ask(plan, TODAY).trips


def test_too_cold_is_said_and_not_called_no_room(visit: Visit, home_slot: FilterSlot) -> None:
    task = MaintenanceTaskFactory(system=home_slot.system, name="charge", least_outdoors_c=31.0)
    VisitJobFactory(visit=visit, slot=None, task=task)
    with pytest.raises(NotBookable, match="too cold outdoors"):
        find_times(visit, NOW)
