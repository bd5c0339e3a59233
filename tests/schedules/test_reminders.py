"""The path of a reminder, with a mail server that can be told to fail."""

from datetime import date, datetime, timedelta

import pytest
from django.core import mail

from equipment.models import FilterSlot, Person, Site
from equipment.record import Told, record_change
from schedules import emails, reminders, sending
from schedules.explain import explain, state_word
from schedules.models import Notice, NoticeSlot, Plan, Visit
from tests.factories import (
    FilterSlotFactory,
    PlanFactory,
    SiteFactory,
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


def book(slot: FilterSlot) -> None:
    visit = VisitFactory(
        site=slot.system.site,
        technician=TechnicianFactory(),
        day=date(2026, 5, 14),
        state=Visit.State.SCHEDULED,
    )
    VisitJobFactory(visit=visit, slot=slot, task=None)


def deliver(now: datetime) -> int:
    count = 0
    while sending.send_one(now):
        count += 1
        assert count < 50
    return count


def test_a_home_whose_filter_falls_due_is_told_once(due_home: Plan, now: datetime) -> None:
    assert reminders.write_due(now) == 1
    assert reminders.write_due(now) == 0
    deliver(now)
    assert len(mail.outbox) == 1
    letter = mail.outbox[0]
    assert letter.to == ["robin@home.example"]
    assert "16 × 25 × 1 in" in letter.body
    assert "16 May" in letter.subject
    notice = Notice.objects.get()
    assert notice.state == Notice.State.SENT
    assert notice.text == letter.body


def test_a_filter_due_later_than_the_notice_time_is_not_spoken_of(due_home: Plan, now: datetime) -> None:
    Plan.objects.update(due_on=date(2026, 5, 12) + timedelta(days=11))
    assert reminders.write_due(now) == 0


def test_one_letter_for_all_filters_of_a_home_that_fall_due_together(due_home: Plan, now: datetime) -> None:
    beside = PlanFactory(slot=FilterSlotFactory(system=due_home.slot.system), due_on=date(2026, 6, 1)).slot
    later = PlanFactory(slot=FilterSlotFactory(system=due_home.slot.system), due_on=date(2026, 7, 1)).slot
    assert reminders.write_due(now) == 1
    told = set(NoticeSlot.objects.values_list("slot", flat=True))
    assert told == {due_home.slot_id, beside.pk}
    assert later.pk not in told


def test_a_letter_waits_for_the_morning_of_the_household(due_home: Plan, home: Site) -> None:
    home.timezone = "Pacific/Honolulu"
    home.save()
    now = datetime.fromisoformat("2026-05-12T15:00:00+00:00")  # five in the morning in Honolulu
    reminders.write_due(now)
    notice = Notice.objects.get()
    assert notice.send_at == datetime.fromisoformat("2026-05-12T18:00:00+00:00")
    assert deliver(now) == 0
    assert deliver(notice.send_at) == 1


def test_a_change_before_the_moment_of_sending_stops_the_letter(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    record_change(due_home.slot, date(2026, 5, 11), None, Told("occupant", "occupant"), now)
    deliver(now)
    assert mail.outbox == []
    notice = Notice.objects.get()
    assert (notice.state, notice.why) == (Notice.State.NOT_SENT, "the filters were changed meanwhile")


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [("wants_filter_mail", False, "does not want filter mail"), ("email", "", "no mail address")],
)
def test_a_reader_who_cannot_be_written_to_is_not(
    due_home: Plan, homeowner_person: Person, now: datetime, field: str, value: object, why: str
) -> None:
    reminders.write_due(now)
    setattr(homeowner_person, field, value)
    homeowner_person.save()
    deliver(now)
    assert mail.outbox == []
    assert Notice.objects.get().why == why


def test_a_vacant_house_is_not_told(due_home: Plan, home: Site, now: datetime) -> None:
    reminders.write_due(now)
    home.vacant_since = date(2026, 5, 1)
    home.save()
    deliver(now)
    assert mail.outbox == []
    assert reminders.to_tell(now, reminders.Policy.the()) == []


def test_a_booked_visit_stops_the_letter(due_home: Plan, home: Site, now: datetime) -> None:
    reminders.write_due(now)
    book(due_home.slot)
    deliver(now)
    assert Notice.objects.get().why == "a visit is booked"
    assert reminders.call_list(now) == []


def test_a_visit_for_one_filter_does_not_silence_the_others(due_home: Plan, now: datetime) -> None:
    beside = PlanFactory(slot=FilterSlotFactory(system=due_home.slot.system, name="attic-slot")).slot
    Plan.objects.update(due_on=date(2026, 5, 16))
    reminders.write_due(now)
    book(beside)
    deliver(now)
    assert Notice.objects.get().state == Notice.State.SENT
    assert "Your air filter:" in mail.outbox[0].subject


def test_a_tune_up_on_a_day_silences_no_filter(due_home: Plan, home: Site, now: datetime) -> None:
    VisitFactory(
        site=home, technician=TechnicianFactory(), day=date(2026, 5, 14), state=Visit.State.SCHEDULED
    )
    assert reminders.write_due(now) == 1
    assert deliver(now) == 1
    assert len(mail.outbox) == 1


def test_a_filter_for_which_somebody_was_asked_is_rung_about_and_not_written_about(
    due_home: Plan, now: datetime
) -> None:
    VisitJobFactory(visit=VisitFactory(site=due_home.slot.system.site), slot=due_home.slot, task=None)
    assert reminders.write_due(now) == 0
    assert [home.why_not for home in reminders.call_list(now)] == ["asked for somebody to come"]


def test_where_even_a_fresh_filter_is_over_its_limit_a_person_rings(due_home: Plan, now: datetime) -> None:
    due_home.notes = ["nothing_left"]
    due_home.save()
    assert reminders.write_due(now) == 0
    (home,) = reminders.call_list(now)
    assert home.slots == [due_home.slot]
    assert home.why_not == "even a fresh filter is over its limit here: a technician should look"
    said = explain(due_home.slot, due_home, date(2026, 5, 12), reminders.Policy.the())
    assert said.headline == "A technician should look at this filter"
    assert state_word(due_home, date(2026, 5, 12), 10) == ("needs a technician", "past")


def test_a_filter_changed_meanwhile_is_not_in_the_letter(due_home: Plan, now: datetime) -> None:
    beside = PlanFactory(slot=FilterSlotFactory(system=due_home.slot.system, name="attic-slot")).slot
    Plan.objects.update(due_on=date(2026, 5, 16))
    reminders.write_due(now)
    record_change(beside, date(2026, 5, 12), None, Told("occupant", "occupant"), now)
    deliver(now)
    assert "Your air filter:" in mail.outbox[0].subject


def test_a_filter_that_the_technician_changes_is_not_the_households_business(
    due_home: Plan, now: datetime
) -> None:
    FilterSlot.objects.update(changed_by=FilterSlot.ChangedBy.TECHNICIAN)
    assert reminders.write_due(now) == 0


def test_one_follow_up_comes_a_week_later_and_no_third(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    deliver(now)
    for days in (3, 8, 20, 40):
        later = now + timedelta(days=days)
        reminders.write_due(later)
        deliver(later)
    kinds = sorted(Notice.objects.values_list("kind", flat=True))
    assert kinds == [Notice.Kind.FILTERS_DUE, Notice.Kind.FOLLOW_UP]
    assert mail.outbox[1].subject.startswith("Still to do")


def test_after_a_change_the_next_life_is_told_again(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    deliver(now)
    record_change(due_home.slot, date(2026, 5, 12), None, Told("occupant", "occupant"), now)
    half_a_year = now + timedelta(days=180)
    Plan.objects.update(due_on=half_a_year.date())
    reminders.write_due(half_a_year)
    deliver(half_a_year)
    assert len(mail.outbox) == 2


def test_a_claim_whose_sender_died_is_parked_and_never_sent_again(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    Notice.objects.update(state=Notice.State.CLAIMED, claimed_at=now)
    assert sending.park_lost_claims(now + timedelta(minutes=5)) == 0
    assert sending.park_lost_claims(now + timedelta(minutes=20)) == 1
    deliver(now + timedelta(days=1))
    assert mail.outbox == []
    assert Notice.objects.get().state == Notice.State.PARKED


def test_of_two_senders_one_gets_the_claim(due_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    notice = Notice.objects.get()
    first = Notice.objects.filter(pk=notice.pk, state=Notice.State.WAITING).update(state=Notice.State.CLAIMED)
    second = Notice.objects.filter(pk=notice.pk, state=Notice.State.WAITING).update(
        state=Notice.State.CLAIMED
    )
    assert (first, second) == (1, 0)


def test_homes_without_mail_are_on_the_call_list_with_the_reason(due_home: Plan, now: datetime) -> None:
    Person.objects.update(email="")
    nobody = SiteFactory(name="nobody")
    PlanFactory(slot=FilterSlotFactory(system=SystemFactory(site=nobody)), due_on=date(2026, 5, 10))
    reasons = {home.site.name: home.why_not for home in reminders.call_list(now)}
    assert reasons == {"home": "no mail address", "nobody": "nobody is named as the filter changer"}
    assert reminders.write_due(now) == 0


def test_the_letter_is_in_the_readers_language_and_can_be_stopped_with_one_click(
    due_home: Plan, homeowner_person: Person, now: datetime
) -> None:
    reminders.write_due(now)
    deliver(now)
    headers = mail.outbox[0].extra_headers
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert headers["List-Unsubscribe"].strip("<>").startswith("http://")
    assert headers["Message-ID"] == emails.letter_for(Notice.objects.get(), now).message_id
