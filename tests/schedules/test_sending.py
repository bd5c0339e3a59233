"""The outbox under fire: what is tried again, what is not, and when filters may be spoken of anew."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.core.mail import EmailMessage
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Person, Site, SiteRole
from equipment.record import Told, record_change
from schedules import answers, call_list, emails, reminders, sending, visit_notices, visits
from schedules.models import MailServer, Notice, Plan, Policy, RestedAddress, Visit
from schedules.posting import NobodyKnows, NotTaken, Post, Refused, ServerFault
from tests.factories import (
    AbsenceFactory,
    FilterSlotFactory,
    MediaFactory,
    NoticeFactory,
    PersonFactory,
    PlanFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def due_home(home_slot: FilterSlot, homeowner_person: Person) -> Plan:
    """The homeowner's filter is due in four days."""
    return PlanFactory(slot=home_slot, due_on=date(2026, 5, 16), reason=Plan.Reason.RISK, run_hours=700)


def deliver(now: datetime) -> int:
    count = 0
    while sending.send_one(now):
        count += 1
        assert count < 50
    return count


class Server:
    """Stands for the mail server: the next answers, one a letter, None for taken."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *answers_: Exception | None) -> None:
        self.answers, real = list(answers_), Post.send

        def send(post: Post, message: EmailMessage) -> None:
            answer = self.answers.pop(0) if self.answers else None
            if answer is not None:
                raise answer
            real(post, message)

        monkeypatch.setattr(Post, "send", send)


def test_a_letter_put_off_is_tried_again_with_patience_and_then_given_to_a_person(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    Server(monkeypatch, *[NotTaken("451 later")] * 9)
    reminders.write_due(now)
    waits = []
    for _ in range(2 * sending.MOST_ATTEMPTS):
        before = Notice.objects.get().send_at
        # Every try falls into a morning: what is put off past noon waits for the next.
        deliver(max(before, now))
        waits.append(Notice.objects.get().send_at - before)
    notice = Notice.objects.get()
    assert waits[:2] == [timedelta(minutes=4), timedelta(minutes=16)]
    assert (notice.state, notice.attempts) == (Notice.State.FAILED, sending.MOST_ATTEMPTS)
    (home,) = reminders.call_list(now)
    assert "451 later" in home.why_not


def test_where_the_server_takes_nothing_all_letters_wait_and_no_try_is_lost(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch, manager: Client
) -> None:
    server = Server(monkeypatch, ServerFault("535 who are you"))
    reminders.write_due(now)
    NoticeFactory(kind=Notice.Kind.SIGN_IN, sent_to="robin@home.example", send_at=now)
    assert deliver(now) == 1
    assert set(Notice.objects.values_list("state", "attempts")) == {(Notice.State.WAITING, 0)}
    assert "535 who are you" in manager.get(reverse("outbox")).text
    assert deliver(now + timedelta(seconds=30)) == 0
    assert server.answers == []
    assert deliver(now + timedelta(seconds=61)) == 2
    assert len(mail.outbox) == 2
    assert MailServer.the().fault == ""
    assert "535" not in manager.get(reverse("outbox")).text


def test_a_letter_without_an_answer_is_parked_and_judged_by_a_person(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch, manager: Client
) -> None:
    Server(monkeypatch, NobodyKnows("timed out"))
    reminders.write_due(now)
    deliver(now)
    notice = Notice.objects.get()
    assert (notice.state, notice.sent_to) == (Notice.State.PARKED, "robin@home.example")
    deliver(now + timedelta(days=3))
    assert mail.outbox == []
    page = reverse("message", args=[notice.pk])
    assert "Did it go out?" in manager.get(page).text
    assert "nobody knows whether it went out" in manager.get(reverse("outbox")).text
    first_id = emails.letter_for(notice, now).message_id
    with time_machine.travel(now + timedelta(days=1), tick=False):
        manager.post(reverse("letter-judged", args=[notice.pk]), {"sent": "no"})
    deliver(now + timedelta(days=1))
    (letter,) = mail.outbox
    assert letter.extra_headers["Message-ID"] == first_id
    again = manager.post(reverse("letter-judged", args=[notice.pk]), {"sent": "yes"}, follow=True)
    assert "does not wait for a judgement any more" in again.text


def test_a_parked_letter_that_went_out_counts_as_told(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    Notice.objects.update(state=Notice.State.PARKED, claimed_at=now)
    sending.judge(Notice.objects.get(), sent=True, user=None, now=now + timedelta(hours=1))
    notice = Notice.objects.get()
    assert (notice.state, notice.sent_at) == (Notice.State.SENT, now)
    assert reminders.write_due(now) == 0


def test_a_mailbox_that_refuses_rests_until_the_address_is_another(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch, homeowner_person: Person
) -> None:
    Server(monkeypatch, Refused("550 5.1.1 no such mailbox", mailbox=True))
    reminders.write_due(now)
    deliver(now)
    assert RestedAddress.objects.get().email == "robin@home.example"
    (home,) = reminders.call_list(now)
    assert home.why_not == "the mailbox refused a letter: 550 5.1.1 no such mailbox"
    assert reminders.write_due(now + timedelta(days=1)) == 0
    homeowner_person.email = "robin@new.example"
    homeowner_person.save()
    assert reminders.write_due(now + timedelta(days=1)) == 1
    deliver(now + timedelta(days=1))
    assert mail.outbox[0].to == ["robin@new.example"]
    assert reminders.call_list(now) == []


def test_a_manager_lifts_a_rested_address(
    due_home: Plan, now: datetime, manager: Client, homeowner_person: Person
) -> None:
    sending.rest("Robin@home.example", "550", now)
    assert reminders.write_due(now) == 0
    row = RestedAddress.objects.get()
    assert "1 address refused a letter" in manager.get(reverse("outbox")).text
    manager.post(reverse("address-lifted", args=[row.pk]))
    assert reminders.write_due(now) == 1
    sending.rest("robin@home.example", "550", now)
    assert RestedAddress.objects.count() == 2


def test_a_refusal_of_the_letter_itself_rests_no_address(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    Server(monkeypatch, Refused("554 spam", mailbox=False))
    reminders.write_due(now)
    deliver(now)
    assert Notice.objects.get().state == Notice.State.FAILED
    assert not RestedAddress.objects.exists()


def test_a_row_that_cannot_be_written_does_not_stop_the_others(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    poisoned = NoticeFactory(kind=Notice.Kind.VISIT, visit=None, site=due_home.slot.system.site, send_at=now)
    monkeypatch.setattr(sending, "stale", lambda notice, now: "")
    reminders.write_due(now)
    assert deliver(now) == 2
    poisoned.refresh_from_db()
    assert (poisoned.state, poisoned.why) == (Notice.State.FAILED, "could not be written: ValueError")
    assert len(mail.outbox) == 1


def test_a_home_that_cannot_be_written_to_does_not_silence_the_others(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = SiteFactory(name="other")
    SiteRoleFactory(site=other, person=PersonFactory(email="o@home.example"), role="filter_changer")
    PlanFactory(slot=FilterSlotFactory(system=SystemFactory(site=other)), due_on=date(2026, 5, 16))
    Site.objects.filter(pk=due_home.slot.system.site_id).update(timezone="Mars/Base")
    assert reminders.write_due(now) == 2  # a zone that is none is the desk's


def booked(slot: FilterSlot) -> Visit:
    visit: Visit = VisitFactory(
        site=slot.system.site, technician=TechnicianFactory(), day=date(2026, 5, 14), state="scheduled"
    )
    VisitJobFactory(visit=visit, slot=slot, task=None)
    return visit


def test_a_letter_not_sent_for_a_visit_is_written_anew_once_that_is_called_off(
    due_home: Plan, now: datetime
) -> None:
    reminders.write_due(now)
    visit = booked(due_home.slot)
    deliver(now)
    assert Notice.objects.get().why == "a visit is booked"
    assert reminders.write_due(now) == 0
    Visit.objects.filter(pk=visit.pk).update(state=Visit.State.CANCELLED)
    assert reminders.write_due(now) == 1
    assert reminders.write_due(now) == 0
    deliver(now)
    assert len(mail.outbox) == 1
    assert Notice.objects.count() == 2


@pytest.mark.parametrize("state", [Visit.State.DUE, Visit.State.DISPLACED, Visit.State.SCHEDULED])
def test_no_letter_is_written_again_and_again(due_home: Plan, now: datetime, state: str) -> None:
    reminders.write_due(now)
    visit = booked(due_home.slot)
    Visit.objects.filter(pk=visit.pk).update(state=state)
    for _ in range(3):
        reminders.write_due(now)
        deliver(now)
    assert [row.state for row in Notice.objects.all()] == [Notice.State.NOT_SENT]


def test_whoever_opts_in_again_is_told(due_home: Plan, now: datetime, homeowner_person: Person) -> None:
    reminders.write_due(now)
    Person.objects.update(wants_filter_mail=False)
    deliver(now)
    assert mail.outbox == []
    Person.objects.update(wants_filter_mail=True)
    assert reminders.write_due(now) == 1


def test_who_comes_after_is_told_from_the_start(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    """The one before was written to; the one who moved in never heard of it."""
    reminders.write_due(now)
    deliver(now)
    SiteRole.objects.update(until=date(2026, 5, 13))
    SiteRoleFactory(
        site=due_home.slot.system.site, person=PersonFactory(email="new@home.example"), role="filter_changer"
    )
    later = now + timedelta(days=8)
    assert reminders.write_due(later) == 1
    deliver(later)
    assert mail.outbox[1].to == ["new@home.example"]
    assert not mail.outbox[1].subject.startswith("Still to do")


def test_two_letters_and_no_answer_are_rung_about(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    deliver(now)
    later = now + timedelta(days=8)
    reminders.write_due(later)
    deliver(later)
    assert reminders.call_list(later + timedelta(days=6)) == []
    (home,) = reminders.call_list(later + timedelta(days=7))
    assert home.why_not == "two letters and no answer"
    assert home.slots == [due_home.slot]


def test_a_failure_of_years_ago_is_no_call(due_home: Plan, now: datetime) -> None:
    NoticeFactory(site=due_home.slot.system.site, state=Notice.State.FAILED, why="last year")
    reminders.write_due(now)
    deliver(now)
    assert reminders.call_list(now) == []


def test_filter_mail_leaves_in_the_morning_however_late_the_sender_is(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    night = datetime(2026, 5, 13, 3, tzinfo=UTC)  # ten in the evening in Chicago
    deliver(night)
    notice = Notice.objects.get()
    assert (notice.state, notice.attempts) == (Notice.State.WAITING, 0)
    assert notice.send_at == datetime(2026, 5, 13, 13, tzinfo=UTC)
    deliver(notice.send_at)
    assert len(mail.outbox) == 1


def test_on_working_days_only_where_the_desk_says_so(due_home: Plan) -> None:
    Policy.objects.update_or_create(pk=1, defaults={"working_days_only": True})
    AbsenceFactory(technician=None, first_day=date(2026, 5, 18), last_day=date(2026, 5, 18))
    saturday = datetime(2026, 5, 16, 15, tzinfo=UTC)
    reminders.write_due(saturday)
    # The Monday is a day off for all.
    assert Notice.objects.get().send_at == datetime(2026, 5, 19, 13, tzinfo=UTC)


def test_a_medium_that_takes_longer_to_get_is_told_of_earlier(due_home: Plan, now: datetime) -> None:
    Plan.objects.update(due_on=date(2026, 6, 10))
    assert reminders.write_due(now) == 0
    medium = MediaFactory(lead_days=30)
    FilterSlot.objects.update(first_media=medium)
    assert reminders.write_due(now) == 1


def test_a_claim_lost_to_another_is_not_put_back(due_home: Plan, now: datetime, monkeypatch: Any) -> None:
    """A sender that hung, whose row was parked and judged meanwhile, must not set it waiting again."""
    reminders.write_due(now)

    def hung(post: Post, message: EmailMessage) -> None:
        Notice.objects.update(state=Notice.State.SENT)
        raise NotTaken("451")

    monkeypatch.setattr(Post, "send", hung)
    deliver(now)
    assert Notice.objects.get().state == Notice.State.SENT


def test_a_letter_that_went_out_is_sent_whatever_was_thought_meanwhile(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    reminders.write_due(now)
    monkeypatch.setattr(Post, "send", lambda post, message: Notice.objects.update(state=Notice.State.WAITING))
    sending.send_one(now)
    assert Notice.objects.get().state == Notice.State.SENT


def test_a_sign_in_letter_of_hours_ago_does_not_go_out(now: datetime) -> None:
    notice = NoticeFactory(kind=Notice.Kind.SIGN_IN, sent_to="a@home.example", send_at=now)
    Notice.objects.filter(pk=notice.pk).update(created_at=now - timedelta(hours=2))
    deliver(now)
    assert Notice.objects.get().why == "asked for too long ago"


def test_a_forty_filter_household_gets_one_letter(due_home: Plan, now: datetime) -> None:
    for n in range(39):
        slot = FilterSlotFactory(system=due_home.slot.system, name=f"s{n}", location=f"room {n}")
        PlanFactory(slot=slot, due_on=date(2026, 5, 16))
    assert reminders.write_due(now) == 1
    deliver(now)
    (letter,) = mail.outbox
    assert letter.subject == "Your 40 air filters: change them by 16 May"
    assert letter.body.count("16 × 25 × 1 in") == 40


@pytest.mark.parametrize(
    ("today", "due", "subject"),
    [
        (datetime(2026, 12, 28, 15, tzinfo=UTC), date(2027, 1, 3), "change it by 3 January 2027"),
        (datetime(2028, 2, 24, 15, tzinfo=UTC), date(2028, 2, 29), "change it by 29 February"),
    ],
)
def test_at_the_year_s_end_and_on_leap_days(due_home: Plan, today: datetime, due: date, subject: str) -> None:
    Plan.objects.update(due_on=due)
    reminders.write_due(today)
    deliver(today)
    assert mail.outbox[0].subject.endswith(subject)


def test_a_name_cannot_reach_the_headers(due_home: Plan, now: datetime, homeowner_person: Person) -> None:
    Person.objects.update(name="Zoë\r\nBcc: everybody@else.example")
    reminders.write_due(now)
    deliver(now)
    message = mail.outbox[0].message()
    assert message["Bcc"] is None
    assert mail.outbox[0].recipients() == ["robin@home.example"]


def put_off(plan: Plan, person: Person, days: int, now: datetime) -> None:
    answers.put_off(plan.slot, person, now.date() + timedelta(days=days), now)


def test_not_yet_waits_for_its_day_and_then_reminds_even_after_the_follow_up(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    reminders.write_due(now)
    deliver(now)
    follow_up = now + timedelta(days=8)
    reminders.write_due(follow_up)
    deliver(follow_up)
    put_off(due_home, homeowner_person, 7, follow_up)
    for days in (1, 5, 6):
        assert reminders.write_due(follow_up + timedelta(days=days)) == 0
    asked = follow_up + timedelta(days=7)
    assert reminders.write_due(asked) == 1
    assert reminders.write_due(asked) == 0
    deliver(asked)
    assert len(mail.outbox) == 3
    assert reminders.call_list(asked) == []


def test_an_answer_ends_with_the_filter_it_was_about(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    put_off(due_home, homeowner_person, 14, now)
    assert reminders.write_due(now) == 0
    record_change(due_home.slot, date(2026, 5, 12), None, Told("occupant", "occupant"), now)
    assert not answers.Answered([due_home.slot_id], now).settles(due_home.slot, now)


def test_another_size_silences_the_letters_and_is_rung_about(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    answers.of_another_size(due_home.slot, homeowner_person, "20x20x1", now)
    assert reminders.write_due(now) == 0
    (call,) = call_list.calls(now)
    assert "20x20x1" in call.why
    call_list.write_call(call.key, reached=True, note="", user=None, now=now)
    assert call_list.calls(now) == []
    assert reminders.write_due(now) == 1


def test_an_answer_before_the_letter_leaves_keeps_it_back(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    reminders.write_due(now)
    put_off(due_home, homeowner_person, 7, now)
    deliver(now)
    notice = Notice.objects.get()
    assert (notice.state, notice.why) == (Notice.State.NOT_SENT, "they answered meanwhile")
    assert reminders.write_due(now + timedelta(days=7)) == 1


def test_an_answer_about_one_of_two_leaves_the_other_in_the_letter(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    beside = PlanFactory(slot=FilterSlotFactory(system=due_home.slot.system, name="attic-slot")).slot
    Plan.objects.update(due_on=date(2026, 5, 16))
    reminders.write_due(now)
    answers.of_another_size(beside, homeowner_person, "20x20x1", now)
    deliver(now)
    assert "Your air filter:" in mail.outbox[0].subject


def test_the_same_answer_twice_stands_once(due_home: Plan, now: datetime, homeowner_person: Person) -> None:
    for size in ("20x20x1", "20x24x1"):
        answers.of_another_size(due_home.slot, homeowner_person, size, now)
    (call,) = call_list.calls(now)
    assert "20x24x1" in call.why


def test_a_lifted_address_gets_what_failed_there(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    Server(monkeypatch, Refused("550 5.1.1 no such mailbox", mailbox=True))
    reminders.write_due(now)
    deliver(now)
    assert sending.lift(RestedAddress.objects.get().pk, now)
    assert not sending.lift(RestedAddress.objects.get().pk, now)
    assert reminders.write_due(now) == 1
    deliver(now)
    assert len(mail.outbox) == 1
    assert reminders.call_list(now) == []


def test_a_server_that_does_not_answer_parks_one_letter_a_minute(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    Server(monkeypatch, NobodyKnows("timed out"))
    for n in range(3):
        NoticeFactory(kind=Notice.Kind.SIGN_IN, sent_to=f"a{n}@home.example", send_at=now)
    deliver(now)
    assert sorted(Notice.objects.values_list("state", flat=True)) == ["parked", "waiting", "waiting"]


def test_whoever_was_told_on_the_telephone_is_rung_again_where_nothing_happens(
    due_home: Plan, now: datetime
) -> None:
    Person.objects.update(email="")
    (call,) = call_list.calls(now)
    call_list.write_call(call.key, reached=True, note="", user=None, now=now)
    assert call_list.calls(now + timedelta(days=20)) == []
    assert len(call_list.calls(now + timedelta(days=21))) == 1


def test_who_takes_over_hears_of_a_visit_that_the_one_before_was_told_of(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    visit = booked(due_home.slot)
    visit_notices.write_visits(now)
    deliver(now + timedelta(minutes=11))
    assert visit_notices.untold(now) == []
    SiteRole.objects.update(until=date(2026, 5, 12))
    new = PersonFactory(email="new@home.example")
    SiteRoleFactory(site=visit.site, person=new, role="filter_changer")
    assert [row.person for row in visit_notices.untold(now)] == [new]
    visit_notices.write_visits(now)
    deliver(now + timedelta(minutes=25))
    assert mail.outbox[-1].to == ["new@home.example"]
    assert mail.outbox[-1].subject.startswith("We come")


def test_a_filter_changed_meanwhile_needs_nobody_to_come(due_home: Plan, now: datetime) -> None:
    visit = VisitFactory(site=due_home.slot.system.site)
    VisitJobFactory(visit=visit, slot=due_home.slot, task=None)
    visits.drop_done([due_home.slot_id])
    visit.refresh_from_db()
    assert (visit.state, visit.jobs.count()) == (Visit.State.CANCELLED, 0)
    wanted = VisitFactory(site=due_home.slot.system.site, wanted="no heat")
    VisitJobFactory(visit=wanted, slot=due_home.slot, task=None)
    visits.drop_done([due_home.slot_id])
    wanted.refresh_from_db()
    assert wanted.is_open
