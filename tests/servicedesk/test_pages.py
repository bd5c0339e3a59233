"""The desk's own pages: signing in, the due list, sheets, letters, the day."""

import re
from collections.abc import Iterator
from datetime import date, timedelta

import pytest
import time_machine
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import FilterSlot, Site, System, User
from schedules import reminders, routes, sending
from schedules.models import Notice, Plan, Technician, Visit
from schedules.visit_promises import Promise
from tests.factories import (
    NOW,
    TODAY,
    CustomerFactory,
    DefectFactory,
    DeskFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    NoticeFactory,
    PlanFactory,
    ReadingFactory,
    SiteFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.markup import tight

pytestmark = [pytest.mark.django_db, pytest.mark.once]
OWN_LOOK = 'href="/static/servicedesk/desk.css"'


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def url(name: str, *args: object) -> str:
    return reverse(name, args=args)


# Signing in


@pytest.fixture
def mailed_link(homeowner_user: User, stranger: Client) -> str:
    """Robin asks for a link; what comes by mail, without the host."""
    User.objects.filter(pk=homeowner_user.pk).update(email="robin@home.example")
    assert stranger.post(url("sign-in"), {"email": "Robin@Home.example"}).status_code == 200
    assert sending.send_one(NOW)
    found = re.search(r"http://[^/\s]+(/sign-in/link/\S+)", str(mail.outbox[0].body))
    assert found
    return found[1]


def is_signed_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


def test_looking_at_the_mailed_link_signs_nobody_in_and_pressing_its_button_does(
    mailed_link: str, stranger: Client, home: Site
) -> None:
    page = stranger.get(mailed_link)
    assert page.status_code == 200
    assert page.text.count("<button") == 1
    assert not is_signed_in(stranger)
    token = re.search(r'name="sesame" value="([^"]+)"', page.text)
    assert token
    answer = stranger.post(url("sign-in-by-link"), {"sesame": token[1]}, follow=True)
    assert answer.redirect_chain[-1][0] == url("site", home.pk)
    assert is_signed_in(stranger)


def test_a_link_is_gone_after_a_day(
    mailed_link: str, stranger: Client, standing_clock: time_machine.Traveller
) -> None:
    standing_clock.shift(timedelta(hours=25))
    assert stranger.get(mailed_link).status_code == 410
    token = mailed_link.partition("sesame=")[2]
    assert stranger.post(url("sign-in-by-link"), {"sesame": token}).status_code == 410
    assert not is_signed_in(stranger)


def test_an_unknown_address_is_answered_like_a_known_one(homeowner_user: User, stranger: Client) -> None:
    User.objects.filter(pk=homeowner_user.pk).update(email="robin@home.example")
    answers = [
        re.sub(r'value="[^"]+"', "", stranger.post(url("sign-in"), {"email": email}).text)
        for email in ("nobody@home.example", "robin@home.example")
    ]
    assert answers[0] == answers[1]
    assert Notice.objects.get().sent_to == "robin@home.example"


def test_pressing_the_button_often_writes_one_letter_a_minute(mailed_link: str, stranger: Client) -> None:
    for _ in range(3):
        stranger.post(url("sign-in"), {"email": "robin@home.example"})
    assert Notice.objects.count() == 1


def test_a_link_leads_nowhere_else(mailed_link: str, stranger: Client) -> None:
    token = mailed_link.partition("sesame=")[2]
    answer = stranger.post(url("sign-in-by-link"), {"sesame": token, "next": "https://elsewhere.example/"})
    assert answer["Location"] == url("start")


# The due list


@pytest.fixture
def three(manager: Client) -> Client:
    """A manager with three filters on the list: linden, mill, and one without a date."""
    _listed("linden", "Reed", "12 Linden Street", "Springfield", FilterSlot.ChangedBy.OCCUPANT)
    _listed("mill", "Moss", "7 Mill Lane", "Riverton", FilterSlot.ChangedBy.TECHNICIAN)
    _listed("quarry", "Vale", "3 Quarry Road", "Ashton", "")
    slots = {slot.name: slot for slot in FilterSlot.objects.all()}
    PlanFactory(slot=slots["linden"], due_on=date(2026, 5, 20), reason=Plan.Reason.RISK)
    PlanFactory(slot=slots["mill"], due_on=date(2026, 5, 14), reason=Plan.Reason.CALENDAR)
    sides = {"nominal_size": "8x30x1", "short_m": 0.2032, "long_m": 0.762}
    FilterSlot.objects.filter(name="mill").update(**sides)
    sides = {"nominal_size": "20x25x4", "short_m": 0.508, "long_m": 0.635, "depth_m": 0.1016}
    FilterSlot.objects.filter(name="quarry").update(**sides)
    return manager


def _listed(name: str, customer: str, street: str, city: str, changed_by: str) -> None:
    site = SiteFactory(customer=CustomerFactory(name=customer), street=street, city=city)
    FilterSlotFactory(name=name, system=SystemFactory(site=site), changed_by=changed_by)


def names(client: Client, **query: object) -> list[str]:
    """The slots on the list, in its order, as its text shows them."""
    text = client.get(url("due-list"), query).text
    return re.findall(r'<span class="faint small">([^<]+)</span>', text)


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, ["mill", "linden", "quarry"]),
        ({"find": "linden street"}, ["linden"]),
        ({"find": "moss"}, ["mill"]),
        ({"find": "moss linden"}, []),
        ({"until": "2026-05-19"}, ["mill"]),
        ({"until": "2026-05-20"}, ["mill", "linden"]),
        ({"city": "spring"}, ["linden"]),
        ({"size": "16 x 25 x 1"}, ["linden"]),
        ({"size": "25x20x4"}, ["quarry"]),
        ({"reason": "risk"}, ["linden"]),
        ({"reason": "cost"}, []),
        ({"who": "technician"}, ["mill"]),
        ({"who": "none"}, ["quarry"]),
        ({"who": "occupant", "city": "Riverton"}, []),
        ({"sort": "due"}, ["mill", "linden", "quarry"]),
        ({"sort": "place"}, ["quarry", "mill", "linden"]),
        ({"sort": "size"}, ["mill", "linden", "quarry"]),
        ({"sort": "customer"}, ["mill", "linden", "quarry"]),
        ({"sort": "reason"}, ["mill", "linden", "quarry"]),
    ],
)
def test_the_due_list_narrows_and_sorts_as_it_says(
    three: Client, query: dict[str, str], expected: list[str]
) -> None:
    assert names(three, **query) == expected


@pytest.mark.parametrize("headers", [{}, {"HX-Request": "true"}])
def test_a_size_that_is_none_gets_a_message(three: Client, headers: dict[str, str]) -> None:
    text = three.get(url("due-list"), {"size": "large"}, headers=headers).text
    assert "write a size such as 16x25x1" in text


def test_the_title_counts_what_is_shown(three: Client) -> None:
    assert "1 filter is due by 19 May 2026" in three.get(url("due-list"), {"until": "2026-05-19"}).text
    assert "2 filters are due before 27 May 2026" in three.get(url("due-list")).text


def test_a_part_of_the_page_is_asked_for_and_given(three: Client) -> None:
    part = three.get(url("due-list"), headers={"HX-Request": "true"})
    assert "12 Linden Street" in part.text
    assert "<html" not in part.text
    assert "HX-Request" in part["Vary"]


def test_history_without_a_copy_gets_the_whole_page(three: Client) -> None:
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    assert "<html" in three.get(url("due-list"), headers=headers).text


def test_filters_out_of_use_are_not_on_the_list(three: Client) -> None:
    FilterSlot.objects.filter(name="linden").update(retired_on=TODAY)
    System.objects.filter(slots__name="mill").update(replaced_on=TODAY)
    CustomerFactory._meta.model.objects.filter(name="Vale").update(gone_on=TODAY)
    assert names(three) == []


def test_later_pages_keep_what_was_asked(manager: Client) -> None:
    PlanFactory.create_batch(61, slot__system=SystemFactory(site__city="Riverton"))
    text = manager.get(url("due-list"), {"city": "River"}).text
    assert "page 1 of 2" in text
    link = re.search(r'href="(\?[^"]+page=2)"', text)
    assert link
    second = tight(manager.get(url("due-list") + link[1].replace("&amp;", "&")).text)
    assert len(re.findall(r'<li><div class="when">', second)) == 1


# The number of queries


def many_slots(count: int, system: System | None = None) -> list[FilterSlot]:
    """Slots with a plan, a change and a reading each."""
    slots = []
    for _ in range(count):
        slot = FilterSlotFactory(**({"system": system} if system else {}), first_media=None)
        PlanFactory(slot=slot)
        FilterChangeFactory(slot=slot)
        ReadingFactory(slot=slot)
        slots.append(slot)
    return slots


def queries(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


@pytest.mark.parametrize("query", ["/due/", "/find/?q=16x25x1", "/find/?q=slot-"])
def test_a_longer_list_asks_the_database_no_more_often(manager: Client, query: str) -> None:
    many_slots(6)  # more than a look-up says for what else would do
    few = queries(manager, query)
    many_slots(40)
    assert queries(manager, query) == few
    assert few <= 25


@pytest.mark.parametrize("name", ["site", "card", "filter"])
def test_a_home_of_many_filters_asks_the_database_no_more_often(manager: Client, name: str) -> None:
    system = SystemFactory()
    slot = many_slots(3, system)[0]
    address = url(name, slot.pk if name == "filter" else system.site.pk)
    few = queries(manager, address)
    many_slots(20, system)
    assert queries(manager, address) == few
    assert few <= 40


def test_a_longer_day_asks_the_database_no_more_often(technician: Client) -> None:
    own = Technician.objects.get()

    def add_stops(count: int) -> None:
        for slot in many_slots(count):
            site = slot.system.site
            visit = VisitFactory(site=site, technician=own, day=TODAY, state=Visit.State.SCHEDULED)
            VisitJobFactory(visit=visit, slot=slot)
            NoticeFactory(
                visit=visit, site=site, kind="visit", state="sent", said=Promise(True, TODAY).as_json()
            )
            DefectFactory(visit=visit)

    add_stops(3)
    few = queries(technician, url("day", own.pk, TODAY))
    add_stops(12)
    assert queries(technician, url("day", own.pk, TODAY)) == few


def test_a_longer_outbox_and_more_offers_ask_the_database_no_more_often(manager: Client) -> None:
    pages = [url("outbox"), url("visits")]

    def add(count: int) -> None:
        for slot in many_slots(count):
            FilterSlot.objects.filter(pk=slot.pk).update(changed_by=FilterSlot.ChangedBy.TECHNICIAN)
            NoticeFactory(site=slot.system.site)

    add(3)
    few = [queries(manager, page) for page in pages]
    add(12)
    assert [queries(manager, page) for page in pages] == few


def test_a_longer_call_list_asks_the_database_no_more_often(manager: Client) -> None:
    def add(count: int) -> None:
        slots = many_slots(count)
        Plan.objects.filter(slot__in=slots).update(due_on=TODAY)

    add(3)
    few = queries(manager, url("call-list"))
    add(12)
    assert queries(manager, url("call-list")) == few


def test_a_long_call_list_is_shown_page_by_page_and_stays_on_its_page(
    manager: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("servicedesk.views.letters.CALLS_A_PAGE", 2)
    Plan.objects.filter(slot__in=many_slots(5)).update(due_on=TODAY)
    pages = [manager.get(url("call-list"), {"page": number}).text for number in (1, 2, 3)]
    assert [page.count('name="key"') for page in pages] == [2, 2, 1]
    assert all("5 homes are to be rung" in page for page in pages)
    keys = [key for page in pages for key in re.findall(r'name="key" value="([^"]+)"', page)]
    assert len(set(keys)) == 5
    answer = manager.post(url("call-list") + "?page=2", {"key": keys[2], "reached": "yes"})
    assert answer["Location"] == url("call-list") + "?page=2"
    assert "4 homes are to be rung" in manager.get(answer["Location"]).text


def test_a_booking_that_cannot_be_keeps_what_was_typed(manager: Client) -> None:
    (slot,), terry = many_slots(1), TechnicianFactory(name="Terry Tool")
    FilterSlot.objects.update(changed_by=FilterSlot.ChangedBy.TECHNICIAN)
    typed = {"technician": terry.pk, "day": "2026-05-01", "window_from": "09:30", "window_to": "11:00"}
    answer = manager.post(url("visits"), {"site": slot.system.site.pk, "slot": slot.pk, **typed})
    assert answer.status_code == 422
    assert "That day is past." in answer.text
    assert f'value="{terry.pk}" selected' in answer.text
    for value in ("2026-05-01", "09:30", "11:00"):
        assert f'value="{value}"' in answer.text


# Sheets


@pytest.fixture
def due_home(home_slot: FilterSlot, homeowner_user: User) -> Plan:
    return PlanFactory(slot=home_slot, due_on=date(2026, 5, 16))


def test_the_call_list_gives_the_reason_and_the_number_to_ring(manager: Client, due_home: Plan) -> None:
    assert "No home is to be rung" in manager.get(url("call-list")).text
    person = due_home.slot.system.site.roles.first().person
    person.email, person.phone = "", "555 0133"
    person.save()
    text = manager.get(url("call-list")).text
    assert "1 home is to be rung" in text
    assert "No mail address" in text
    assert 'href="tel:555 0133"' in text
    assert "16 × 25 × 1 in" in text


def test_the_outbox_shows_the_letters_of_a_state(manager: Client, due_home: Plan) -> None:
    NoticeFactory(state=Notice.State.FAILED, sent_to="broken@home.example", why="550 no such mailbox")
    NoticeFactory(state=Notice.State.SENT, sent_to="fine@home.example")
    everything = manager.get(url("outbox")).text
    failed = manager.get(url("outbox"), {"state": "failed"}).text
    assert "broken@home.example" in everything
    assert "fine@home.example" in everything
    assert "550 no such mailbox" in failed
    assert "fine@home.example" not in failed


def test_a_letter_is_shown_as_a_draft_and_then_as_it_was_sent(manager: Client, due_home: Plan) -> None:
    reminders.write_due(NOW)
    page = url("message", Notice.objects.get().pk)
    assert "As it would be written now" in manager.get(page).text
    sending.send_one(NOW)
    text = manager.get(page).text
    assert "As text" in text
    assert "robin@home.example" in text
    assert f'src="{page}look/" sandbox' in text


def test_a_letters_look_may_be_framed_here_alone_and_runs_no_script(manager: Client, due_home: Plan) -> None:
    reminders.write_due(NOW)
    sending.send_one(NOW)
    look = manager.get(url("message-look", Notice.objects.get().pk))
    assert "16 × 25 × 1 in" in look.text
    assert look["X-Frame-Options"] == "SAMEORIGIN"
    said = policy(look["Content-Security-Policy"])
    assert said["frame-ancestors"] == "'self'"
    assert said["style-src"] == "'unsafe-inline'"
    assert said["script-src"] == "'self'"


def policy(header: str) -> dict[str, str]:
    return dict(part.strip().split(" ", 1) for part in header.split(";") if part.strip())


def test_other_pages_may_not_be_framed_and_take_no_inline_style(manager: Client) -> None:
    answer = manager.get(url("due-list"))
    assert answer["X-Frame-Options"] == "DENY"
    said = policy(answer["Content-Security-Policy"])
    assert (said["frame-ancestors"], said["script-src"], said["style-src"]) == ("'none'", "'self'", "'self'")


# The day


@pytest.fixture
def stops(technician: Client) -> list[Visit]:
    """Two stops of the technician's today, in order: the near one first."""
    DeskFactory(latitude=41.88, longitude=-87.63)
    own = Technician.objects.get()
    made = []
    for street, latitude in (("9 Far Road", 42.2), ("1 Near Road", 41.9)):
        site = SiteFactory(street=street, latitude=latitude, longitude=-87.63)
        visit = VisitFactory(site=site, technician=own, day=TODAY, state=Visit.State.SCHEDULED)
        VisitJobFactory(visit=visit, slot=FilterSlotFactory(system__site=site, location="hall"))
        made.append(visit)
    routes.order_day(own, TODAY, NOW)
    return made


def test_the_day_lists_stops_in_order_and_what_to_bring(technician: Client, stops: list[Visit]) -> None:
    text = tight(technician.get(url("start"), follow=True).text)
    assert "Terry Tool has 2 stops on Tuesday 12 May 2026" in text
    hours = re.findall(r"<strong>(\d)\. (\d\d:\d\d)–(\d\d:\d\d)</strong>", text)
    assert [number for number, _from, _to in hours] == ["1", "2"]
    assert hours[0][2] < hours[1][1]
    assert re.search(r'<td class="number">2 ×</td><td><span class="size">16 × 25 × 1 in', text)
    assert "<title>The round of the day</title>" in text


def test_a_technician_sees_no_colleagues_day_and_no_day_that_is_none(technician: Client) -> None:
    colleague = TechnicianFactory()
    own = Technician.objects.exclude(pk=colleague.pk).get()
    assert technician.get(url("day", colleague.pk, TODAY)).status_code == 403
    assert technician.get(url("day", own.pk, "someday")).status_code == 404


# Refusals


@pytest.mark.parametrize(
    "address", ["/find/?q=%00", "/due/?find=%00&size=%00", "/letters/?state=%00", "/calendar/%00.ics"]
)
def test_a_nul_in_an_address_breaks_nothing(manager: Client, address: str) -> None:
    """PostgreSQL takes no NUL in a text."""
    assert manager.get(address).status_code in (200, 404)


def test_a_nul_in_a_mail_address_breaks_nothing(stranger: Client) -> None:
    assert stranger.post(url("sign-in"), {"email": "robin\0@home.example"}).status_code == 200


@pytest.mark.parametrize("role", ["stranger", "homeowner", "manager"])
def test_a_page_that_is_not_there_is_answered_in_our_own_look(
    role: str, request: pytest.FixtureRequest
) -> None:
    answer = request.getfixturevalue(role).get("/no/such/page/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.text
    assert OWN_LOOK in answer.text


@pytest.mark.parametrize(
    ("role", "method"), [("technician", "get"), ("homeowner", "get"), ("stranger", "post")]
)
def test_a_closed_page_is_refused_in_our_own_look(
    role: str, method: str, request: pytest.FixtureRequest
) -> None:
    answer = getattr(request.getfixturevalue(role), method)(url("sheets"))
    assert answer.status_code == 403
    assert "This page is not open to you" in answer.text
    assert OWN_LOOK in answer.text


def test_a_form_without_its_cookie_is_refused_in_our_own_look(db: None) -> None:
    answer = Client(enforce_csrf_checks=True).post(url("sign-in"), {"email": "robin@home.example"})
    assert answer.status_code == 403
    assert OWN_LOOK in answer.text
