"""Owner and bill payer hear what was done, once, and only if they want to."""

from datetime import datetime, timedelta

import pytest
from django.core import mail
from django.test import Client

from equipment.models import FilterSlot, Person, SiteRole
from schedules import sending, visits_done
from schedules.models import Notice, Visit
from tests.factories import PersonFactory, SiteRoleFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def done(home_slot: FilterSlot, homeowner_person: Person, now: datetime) -> Visit:
    """A visit just completed at a home where three people are changer, owner and payer."""
    site = home_slot.system.site
    SiteRole.objects.exclude(role="filter_changer").delete()
    for role in ("owner", "bill_payer"):
        SiteRoleFactory(site=site, person=PersonFactory(name=role, email=f"{role}@home.example"), role=role)
    visit: Visit = VisitFactory(
        site=site, state=Visit.State.COMPLETED, completed_at=now, findings="frame bent", day=now.date()
    )
    VisitJobFactory(visit=visit, slot=home_slot, done=True)
    return visit


def test_those_who_own_and_pay_are_told_and_not_who_changes_filters(done: Visit, now: datetime) -> None:
    assert visits_done.write_done(now) == 2
    assert visits_done.write_done(now) == 0
    sending.send_all(now + timedelta(minutes=11))
    assert sorted(letter.to[0] for letter in mail.outbox) == ["bill_payer@home.example", "owner@home.example"]
    assert mail.outbox[0].subject.startswith("What was done at")
    assert "16 × 25 × 1 in" in mail.outbox[0].body
    assert "frame bent" in mail.outbox[0].body


def test_one_click_stops_these_letters_and_no_others(done: Visit, now: datetime) -> None:
    visits_done.write_done(now)
    sending.send_all(now + timedelta(minutes=11))
    letter = next(one for one in mail.outbox if one.to == ["owner@home.example"])
    stop = letter.extra_headers["List-Unsubscribe"].strip("<>").removeprefix("http://127.0.0.1:8000")
    Client().post(stop, {"List-Unsubscribe": "One-Click"})
    owner = Person.objects.get(name="owner")
    assert (owner.wants_record_mail, owner.wants_filter_mail, owner.wants_visit_mail) == (False, True, True)
    again = VisitFactory(site=done.site, state=Visit.State.COMPLETED, completed_at=now)
    assert visits_done.write_done(now) == 1
    assert Notice.objects.get(visit=again).person.name == "bill_payer"  # type: ignore[union-attr]


def test_old_news_is_none_and_who_sold_the_house_hears_nothing(done: Visit, now: datetime) -> None:
    assert visits_done.write_done(now + timedelta(days=4)) == 0
    visits_done.write_done(now)
    SiteRole.objects.filter(role="owner").update(until=now.date())
    sending.send_all(now + timedelta(minutes=11))
    assert [letter.to for letter in mail.outbox] == [["bill_payer@home.example"]]
    assert "neither own that house" in Notice.objects.get(state=Notice.State.NOT_SENT).why
