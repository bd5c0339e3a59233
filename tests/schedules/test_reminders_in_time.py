"""Over weeks: nobody forgotten, nobody told twice, nobody nagged, and no letter says what is not so."""

from collections import Counter
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.core import mail
from django.test import Client

from equipment.models import FilterSlot, Person, SiteRole, System
from schedules import answers, call_list, emails, posting, reminders, sending, visit_notices, visits
from schedules.models import Notice, NoticeSlot, Plan, Policy, Visit
from tests.factories import (
    DeskFactory,
    FilterSlotFactory,
    MediaFactory,
    NoticeFactory,
    PersonFactory,
    PlanFactory,
    SiteRoleFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def due_home(home_slot: FilterSlot, homeowner_person: Person) -> Plan:
    """The homeowner's filter is due in four days."""
    return PlanFactory(slot=home_slot, due_on=date(2026, 5, 16), reason=Plan.Reason.RISK, run_hours=700)


def a_day(now: datetime) -> None:
    reminders.write_due(now)
    sending.send_all(now)


@pytest.mark.once
@pytest.mark.parametrize(
    "apart", [pytest.param(1, marks=pytest.mark.long), 3, pytest.param(10, marks=pytest.mark.long)]
)
def test_a_large_home_is_told_of_every_filter_and_nagged_once_a_week_at_most(
    due_home: Plan, now: datetime, apart: int
) -> None:
    """Forty filters due days apart, nothing answered for ninety days."""
    slots = [due_home.slot]
    for n in range(1, 40):
        slot = FilterSlotFactory(system=due_home.slot.system, name=f"s{n}")
        PlanFactory(slot=slot, due_on=date(2026, 5, 16) + timedelta(days=apart * n))
        slots.append(slot)
    letters = []
    for day in range(90):
        before = len(mail.outbox)
        a_day(now + timedelta(days=day))
        letters += [day] * (len(mail.outbox) - before)
    assert all(later - sooner >= 3 for sooner, later in pairwise(letters))
    assert len(letters) <= 90 / 7 + 3
    last = now + timedelta(days=90)
    told = Counter(NoticeSlot.objects.filter(void=False).values_list("slot", "kind"))
    assert set(told.values()) == {1}
    rung = {slot.pk for home in reminders.call_list(last) for slot in home.slots}
    for slot in slots:
        due = slot.plan.due_on
        assert due is not None
        if due <= last.date():
            assert (slot.pk, Notice.Kind.FILTERS_DUE) in told
        if due <= last.date() - timedelta(days=21):
            assert (slot.pk, Notice.Kind.FOLLOW_UP) in told
            assert slot.pk in rung


def test_an_overdue_filter_s_follow_up_waits_for_no_other(due_home: Plan, now: datetime) -> None:
    """The one beside it comes near meanwhile, and rides along."""
    Plan.objects.update(due_on=date(2026, 5, 1))
    beside = PlanFactory(
        slot=FilterSlotFactory(system=due_home.slot.system, name="b"), due_on=date(2026, 6, 8)
    ).slot
    days = []
    for day in range(15):
        before = len(mail.outbox)
        a_day(now + timedelta(days=day))
        days += [day] * (len(mail.outbox) - before)
    assert days[:2] == [0, 7]
    assert NoticeSlot.objects.filter(slot=beside).exists()


def test_not_yet_over_a_weekend_makes_one_follow_up(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    Policy.objects.update_or_create(pk=1, defaults={"working_days_only": True})
    a_day(now)
    friday = datetime.fromisoformat("2026-05-22T18:00:00+00:00")
    reminders.write_due(friday)
    assert Notice.objects.filter(kind=Notice.Kind.FOLLOW_UP).count() == 1
    answers.put_off(due_home.slot, homeowner_person, date(2026, 5, 25), friday)
    for hours in range(0, 120, 6):
        a_day(datetime.fromisoformat("2026-05-23T13:00:00+00:00") + timedelta(hours=hours))
    assert len(mail.outbox) == 2


def test_a_letter_with_nothing_left_to_say_is_not_sent(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    """One filter is put off, for the other somebody comes."""
    beside = PlanFactory(
        slot=FilterSlotFactory(system=due_home.slot.system, name="b"), due_on=date(2026, 5, 16)
    ).slot
    reminders.write_due(now)
    answers.put_off(due_home.slot, homeowner_person, date(2026, 5, 20), now)
    visit = VisitFactory(
        site=due_home.slot.system.site,
        state="scheduled",
        day=date(2026, 5, 14),
        technician=TechnicianFactory(),
    )
    VisitJobFactory(visit=visit, slot=beside)
    sending.send_all(now)
    assert mail.outbox == []
    assert Notice.objects.get().state == Notice.State.NOT_SENT


@pytest.mark.parametrize("change", ["technician", "needs technician", "far off"])
def test_what_is_no_longer_theirs_or_near_is_not_told(due_home: Plan, now: datetime, change: str) -> None:
    reminders.write_due(now)
    if change == "technician":
        FilterSlot.objects.update(changed_by="technician")
    elif change == "needs technician":
        Plan.objects.update(notes=["nothing_left"])
    else:
        Plan.objects.update(due_on=date(2026, 7, 31))
    sending.send_all(now)
    assert mail.outbox == []
    assert Notice.objects.get().why in ("a technician sees to it now", "the dates have moved off")
    if change == "far off":
        a_day(datetime.fromisoformat("2026-07-22T15:00:00+00:00"))
        assert "Still to do" not in mail.outbox[0].subject


def test_a_filter_left_out_of_a_letter_was_not_told_of(due_home: Plan, now: datetime) -> None:
    beside = PlanFactory(
        slot=FilterSlotFactory(system=due_home.slot.system, name="b"), due_on=date(2026, 5, 16)
    ).slot
    reminders.write_due(now)
    visit = VisitFactory(
        site=due_home.slot.system.site,
        state="scheduled",
        day=date(2026, 5, 14),
        technician=TechnicianFactory(),
    )
    VisitJobFactory(visit=visit, slot=beside)
    sending.send_all(now)
    assert "Your air filter:" in mail.outbox[0].subject
    visits.cancel(visit, "")
    a_day(now + timedelta(days=1))
    assert len(mail.outbox) == 2
    assert not mail.outbox[1].subject.startswith("Still to do")


def a_visit(plan: Plan) -> Visit:
    DeskFactory(name="Elm and Ash Air", email="desk@elm.example")
    visit: Visit = VisitFactory(
        site=plan.slot.system.site, technician=TechnicianFactory(), day=date(2026, 5, 20), state="scheduled",
        arrive_at=datetime.fromisoformat("2026-05-20T15:00:00+00:00"),
        leave_at=datetime.fromisoformat("2026-05-20T15:40:00+00:00"),
    )  # fmt: skip
    return visit


def tell(now: datetime) -> Any:
    visit_notices.write_visits(now)
    sending.send_all(now + timedelta(minutes=11))
    return mail.outbox[-1]


def method_of(letter: Any) -> str:
    raw = letter.message().as_string()
    return next(word for word in ("REQUEST", "CANCEL", "PUBLISH") if f"METHOD:{word}" in _plain(letter) + raw)


def _plain(letter: Any) -> str:
    parts = [part.get_payload(decode=True) for part in letter.message().walk() if not part.is_multipart()]
    return "".join(part.decode(errors="replace") for part in parts if part)


def test_a_visit_moved_without_hours_updates_the_invitation_and_its_end_ends_it(
    due_home: Plan, now: datetime
) -> None:
    visit = a_visit(due_home)
    assert method_of(tell(now)) == "REQUEST"
    assert visit.technician is not None
    visits.schedule(visit, visit.technician, date(2026, 5, 21), now)
    moved = tell(now + timedelta(hours=1))
    assert method_of(moved) == "REQUEST"
    assert "VALUE=DATE:20260521" in _plain(moved)
    visits.cancel(visit, "")
    assert method_of(tell(now + timedelta(hours=2))) == "CANCEL"


def test_whoever_comes_after_one_told_on_the_telephone_is_told(due_home: Plan, now: datetime) -> None:
    visit = a_visit(due_home)
    Person.objects.update(email="")
    (call,) = [one for one in call_list.calls(now) if one.visit]
    call_list.write_call(call.key, reached=True, note="", user=None, now=now)
    assert visit_notices.untold(now) == []
    SiteRole.objects.update(until=now.date())
    new = PersonFactory(email="new@home.example")
    SiteRoleFactory(site=visit.site, person=new, role="filter_changer")
    assert [row.person for row in visit_notices.untold(now)] == [new]


def test_a_new_reader_beside_the_owner_is_told_as_of_something_new(due_home: Plan, now: datetime) -> None:
    visit = a_visit(due_home)
    SiteRole.objects.exclude(role="owner").delete()
    owner = PersonFactory(email="owner@home.example")
    SiteRoleFactory(site=visit.site, person=owner, role="owner")
    tell(now)
    assert mail.outbox[-1].to == ["owner@home.example"]
    SiteRoleFactory(site=visit.site, person=PersonFactory(email="new@home.example"), role="filter_changer")
    letter = tell(now + timedelta(hours=1))
    assert (letter.to, letter.subject[:7]) == (["new@home.example"], "We come")


def test_an_answer_of_the_tenant_before_silences_nobody(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    answers.put_off(due_home.slot, homeowner_person, date(2026, 6, 12), now)
    SiteRole.objects.update(until=date(2026, 5, 12))
    new = PersonFactory(email="new@home.example")
    SiteRoleFactory(site=due_home.slot.system.site, person=new, role="filter_changer")
    assert reminders.write_due(now) == 1


def test_a_visit_letter_that_cannot_be_written_is_written_once(
    due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_visit(due_home)
    Person.objects.update(phone="312 555 0143")

    def broken(notice: Notice, now: datetime) -> Any:
        raise ValueError("no")

    monkeypatch.setattr(emails, "letter_for", broken)
    for minutes in range(0, 120, 10):
        visit_notices.write_visits(now + timedelta(minutes=minutes))
        sending.send_all(now + timedelta(minutes=minutes))
    assert Notice.objects.filter(kind=Notice.Kind.VISIT).count() == 1


def test_what_was_done_and_could_not_be_told_is_rung_about(due_home: Plan, now: datetime) -> None:
    owner = PersonFactory(email="owner@home.example")
    SiteRoleFactory(site=due_home.slot.system.site, person=owner, role="owner")
    NoticeFactory(
        kind=Notice.Kind.DONE, site=due_home.slot.system.site, person=owner, state=Notice.State.FAILED,
        why="550 who", send_at=now,
    )  # fmt: skip
    assert any("tell them what was done" in call.why for call in call_list.calls(now))


@pytest.mark.parametrize(
    ("words", "rests"),
    [
        ("5.1.1 no such user", True), ("5.1.8 Sender address rejected", False),
        ("5.7.1 relay access denied", False), ("no such mailbox here", True),
        ("relay not permitted", False), ("your host is in an RBL, see the mailbox policy", False),
    ],
)  # fmt: skip
def test_only_the_mailbox_s_own_refusal_rests_it(words: str, rests: bool) -> None:
    assert posting._of_the_mailbox(words) is rests


def test_somebody_is_sent_for_the_filters_that_nobody_comes_for_yet(
    due_home: Plan, now: datetime, stranger: Client
) -> None:
    beside = PlanFactory(
        slot=FilterSlotFactory(system=due_home.slot.system, name="b"), due_on=date(2026, 5, 16)
    ).slot
    reminders.write_due(now)
    link = emails.answer_url(Notice.objects.get()).removeprefix("http://127.0.0.1:8000")
    stranger.post(link, {"what": "no-reach", "slot": str(due_home.slot_id)})
    stranger.post(link, {"what": "send"})
    jobs = {job.slot_id for visit in Visit.objects.all() for job in visit.jobs.all()}
    assert jobs == {due_home.slot_id, beside.pk}


def test_one_bad_look_stops_no_other(due_home: Plan, now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    NoticeFactory(kind=Notice.Kind.SIGN_IN, sent_to="a@home.example", send_at=now)
    reminders.write_due(now)
    real = sending.stale

    def broken(notice: Notice, at: datetime) -> str:
        if notice.kind == Notice.Kind.SIGN_IN:
            raise RuntimeError("no")
        return real(notice, at)

    monkeypatch.setattr(sending, "stale", broken)
    sending.send_all(now)
    assert len(mail.outbox) == 1
    assert Notice.objects.get(kind=Notice.Kind.SIGN_IN).state == Notice.State.FAILED


def test_a_long_lead_is_kept_to_its_end_and_hidden_by_no_nearer_filter(due_home: Plan, now: datetime) -> None:
    medium = MediaFactory(lead_days=60)
    slow = FilterSlotFactory(system=due_home.slot.system, name="slow", first_media=medium)
    PlanFactory(slot=slow, due_on=now.date() + timedelta(days=55))
    for minutes in range(5):
        a_day(now + timedelta(minutes=minutes))
    assert Notice.objects.count() == 1
    assert set(NoticeSlot.objects.filter(void=False).values_list("slot", flat=True)) == {
        due_home.slot_id, slow.pk,
    }  # fmt: skip


@pytest.mark.parametrize("moved", [True, False])
def test_whoever_was_told_hears_of_the_end_though_another_is_the_reader_now(
    due_home: Plan, now: datetime, moved: bool
) -> None:
    visit = a_visit(due_home)
    SiteRole.objects.exclude(role="owner").delete()
    SiteRoleFactory(site=visit.site, person=PersonFactory(email="owner@home.example"), role="owner")
    tell(now)
    SiteRoleFactory(site=visit.site, person=PersonFactory(email="new@home.example"), role="filter_changer")
    tell(now + timedelta(hours=1))
    if moved:
        assert visit.technician is not None
        visits.schedule(visit, visit.technician, date(2026, 5, 21), now)
    else:
        visits.cancel(visit, "")
    before = len(mail.outbox)
    for hours in (2, 3):
        visit_notices.write_visits(now + timedelta(hours=hours))
        sending.send_all(now + timedelta(hours=hours, minutes=11))
    told = sorted(letter.to[0] for letter in mail.outbox[before:])
    assert told == ["new@home.example", "owner@home.example"]
    assert {method_of(letter) for letter in mail.outbox[before:]} == {"REQUEST" if moved else "CANCEL"}


def test_a_call_stands_though_somebody_else_has_left(due_home: Plan, now: datetime) -> None:
    visit = a_visit(due_home)
    payer = SiteRoleFactory(site=visit.site, person=PersonFactory(), role="bill_payer")
    Person.objects.update(email="")
    (call,) = [one for one in call_list.calls(now) if one.visit]
    call_list.write_call(call.key, reached=True, note="", user=None, now=now)
    SiteRole.objects.filter(pk=payer.pk).update(until=date(2026, 5, 14))
    visits.cancel(visit, "")
    assert any("call off" in call.why for call in call_list.calls(now + timedelta(days=3)))


def test_a_replaced_system_s_filters_are_not_told_of(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    System.objects.update(replaced_on=now.date())
    sending.send_all(now)
    assert mail.outbox == []


def test_what_is_new_beside_a_follow_up_put_off_is_not_still_to_do(
    due_home: Plan, now: datetime, homeowner_person: Person
) -> None:
    a_day(now)
    beside = PlanFactory(
        slot=FilterSlotFactory(system=due_home.slot.system, name="b"), due_on=date(2026, 5, 22)
    ).slot
    later = now + timedelta(days=8)
    reminders.write_due(later)
    answers.put_off(due_home.slot, homeowner_person, date(2026, 5, 30), later)
    sending.send_all(later)
    assert len(mail.outbox) == 2
    assert not mail.outbox[1].subject.startswith("Still to do")
    assert NoticeSlot.objects.filter(slot=beside, void=False).exists()


def ring(now: datetime) -> list[str]:
    """Ring everybody about visits, all of whom answer; what they were told."""
    said = []
    for call in [one for one in call_list.calls(now) if one.visit]:
        call_list.write_call(call.key, reached=True, note="", user=None, now=now)
        said.append(call.why)
    return said


def test_a_household_on_the_telephone_hears_of_every_turn(due_home: Plan, now: datetime) -> None:
    visit = a_visit(due_home)
    Person.objects.update(email="")
    assert visit.technician is not None
    assert len(ring(now)) == 1
    for hours, day in ((1, 21), (2, 20), (3, 21)):
        visits.schedule(visit, visit.technician, date(2026, 5, day), now)
        assert len(ring(now + timedelta(hours=hours))) == 1
    for hours in (4, 6):
        visits.cancel(visit, "")
        assert ["call off" in why for why in ring(now + timedelta(hours=hours))] == [True]
        Visit.objects.update(state="scheduled")
        visit.refresh_from_db()
        assert len(ring(now + timedelta(hours=hours + 1))) == 1
    assert ring(now + timedelta(hours=8)) == []


def test_who_moves_in_without_mail_is_rung_too(due_home: Plan, now: datetime) -> None:
    visit = a_visit(due_home)
    Person.objects.update(email="")
    ring(now)
    SiteRole.objects.update(until=now.date())
    SiteRoleFactory(site=visit.site, person=PersonFactory(email=""), role="filter_changer")
    assert len(ring(now + timedelta(hours=1))) == 1


def test_put_off_before_any_letter_makes_one_letter_on_its_day(due_home: Plan, now: datetime) -> None:
    answers.put_off(due_home.slot, None, date(2026, 5, 19), now)
    for day in range(6, 12):
        a_day(now + timedelta(days=day))
    assert len(mail.outbox) == 1


def test_what_was_done_is_rung_about_once_and_to_owners_alone(due_home: Plan, now: datetime) -> None:
    owner = PersonFactory(email="owner@home.example")
    role = SiteRoleFactory(site=due_home.slot.system.site, person=owner, role="owner")
    NoticeFactory(
        kind=Notice.Kind.DONE, site=due_home.slot.system.site, person=owner, state=Notice.State.FAILED,
        send_at=now,
    )  # fmt: skip

    def listed(at: datetime) -> list[call_list.Call]:
        return [call for call in call_list.calls(at) if "what was done" in call.why]

    SiteRole.objects.filter(pk=role.pk).update(until=now.date())
    assert listed(now) == []
    SiteRole.objects.filter(pk=role.pk).update(until=None)
    (call,) = listed(now)
    call_list.write_call(call.key, reached=True, note="", user=None, now=now)
    assert listed(now + timedelta(days=25)) == []
