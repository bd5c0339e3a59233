"""What is known of people goes when its time is over, and what was done in the house stays."""

from datetime import datetime, timedelta

import pytest
import time_machine
from django.contrib.sessions.models import Session
from pytest_django.fixtures import Settings

from equipment.fan_fold import WHOLE_DAYS
from equipment.fan_log import fan_log
from equipment.models import (
    FilterChange,
    Person,
    Reading,
    RuntimeBefore,
    RuntimeDay,
    Site,
    System,
    User,
    WeatherBefore,
)
from schedules import due
from schedules.erasure import is_erased
from schedules.models import Answer, FieldEntry, Notice, Photograph, RoundPlan, Rung, SeasonPlan
from schedules.retention import forget_old
from schedules.tasks import forget_old as task
from tests.factories import (
    AnswerFactory,
    FieldEntryFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    NoticeFactory,
    PersonFactory,
    PhotographFactory,
    ReadingFactory,
    RoundPlanFactory,
    RungFactory,
    RuntimeBeforeFactory,
    RuntimeDayFactory,
    SeasonPlanFactory,
    SeasonTripFactory,
    SiteRoleFactory,
    SystemFactory,
    UserFactory,
    WeatherBeforeFactory,
)

pytestmark = pytest.mark.django_db
LONG = timedelta(days=31)


@pytest.fixture(autouse=True)
def a_month(settings: Settings) -> None:
    settings.KEEP_DAYS = dict.fromkeys(settings.KEEP_DAYS, 30)


def test_letters_lose_their_words_once_they_are_over(now: datetime) -> None:
    words = {
        "sent_to": "a@home.example",
        "subject": "s",
        "text": "t",
        "html": "h",
        "said": {"day": "2026-01-01"},
    }
    old = NoticeFactory(state="sent", send_at=now - LONG, **words)
    waits = NoticeFactory(state="waiting", send_at=now - LONG, **words)
    new = NoticeFactory(state="sent", send_at=now - timedelta(days=29), **words)
    assert forget_old(now)["letters"] == 1
    kept = Notice.objects.get(pk=old.pk)
    assert (kept.sent_to, kept.subject, kept.text, kept.html) == ("", "", "", "")
    assert (kept.state, kept.said) == ("sent", {"day": "2026-01-01"})
    assert Notice.objects.filter(pk__in=[waits.pk, new.pk], text="t").count() == 2
    assert forget_old(now)["letters"] == 0


def test_answers_calls_entries_and_photographs_keep_their_rows_alone(now: datetime) -> None:
    for at in (now - LONG, now - timedelta(days=29)):
        AnswerFactory(at=at, text="the dog was ill")
        RungFactory(at=at, note="rings back")
        FieldEntryFactory(received_at=at, fields={"findings": ["mould"]}, state="taken", why="")
        FieldEntryFactory(received_at=at, fields={"findings": ["rust"]}, state="to_judge", why="odd")
        PhotographFactory(taken_at=at, jpeg=b"picture")
    told = forget_old(now)
    assert (told["answers"], told["phone_entries"], told["photographs"]) == (2, 1, 1)
    assert Answer.objects.exclude(text="").count() == Rung.objects.exclude(note="").count() == 1
    # What the desk has still to look at waits for it.
    assert FieldEntry.objects.exclude(fields={}).count() == 3
    assert [bytes(row.jpeg) for row in Photograph.objects.filter(withdrawn_at=None)] == [b"picture"]
    assert Photograph.objects.count() == 2


def test_plans_that_were_worked_out_once_go_but_the_newest_season(now: datetime) -> None:
    rounds = RoundPlanFactory.create_batch(2)
    seasons = SeasonPlanFactory.create_batch(2)
    for plan in seasons:
        SeasonTripFactory(plan=plan)
    for model in (RoundPlan, SeasonPlan):
        model.objects.update(ended_at=now - LONG)
    RoundPlan.objects.filter(pk=rounds[0].pk).update(ended_at=None)
    assert forget_old(now)["plans_of_rounds"] == 2
    assert [plan.pk for plan in SeasonPlan.objects.all()] == [seasons[1].pk]
    assert [plan.pk for plan in RoundPlan.objects.all()] == [rounds[0].pk]


def test_whoever_left_long_ago_is_forgotten_and_the_house_remembers_itself(
    now: datetime, home: Site, homeowner_person: Person, homeowner_user: User
) -> None:
    slot = home.systems.get().slots.get()
    FilterChangeFactory(slot=slot, recorded_by=homeowner_user)
    ReadingFactory(slot=slot)
    still, staff = PersonFactory(name="Still Here"), PersonFactory(name="Ada Reed")
    UserFactory(role=User.Role.MANAGER, person=staff)
    for person in (still, staff):
        SiteRoleFactory(site=home, person=person, until=now.date() - LONG)
    SiteRoleFactory(person=still)
    PersonFactory(name="Never Had A Home")
    homeowner_person.roles.update(until=now.date() - timedelta(days=29))
    assert forget_old(now)["people_gone"] == 0
    homeowner_person.roles.update(until=now.date() - LONG)
    assert forget_old(now)["people_gone"] == 1
    homeowner_person.refresh_from_db()
    homeowner_user.refresh_from_db()
    assert is_erased(homeowner_person)
    assert not homeowner_user.is_active
    assert Person.objects.filter(name__in=["Still Here", "Ada Reed", "Never Had A Home"]).count() == 3
    assert (FilterChange.objects.count(), Reading.objects.count()) == (1, 1)
    assert forget_old(now)["people_gone"] == 0


def test_whoever_never_had_a_home_is_forgotten_once_nothing_was_heard_of_them(now: datetime) -> None:
    def person(name: str, days: int) -> Person:
        with time_machine.travel(now - timedelta(days=days), tick=False):
            found: Person = PersonFactory(name=name)
        return found

    gone, new, works = person("Gone", 31), person("New", 29), person("Works Here", 31)
    changed, signs_in, idle = person("Changed", 31), person("Signs In", 31), person("Idle", 31)
    with time_machine.travel(now - timedelta(days=3), tick=False):
        changed.phone = "+1 555 010 7788"
        changed.save()
    UserFactory(role=User.Role.TECHNICIAN, person=works)
    for who, days in ((signs_in, 3), (idle, 31)):
        UserFactory(role=User.Role.HOMEOWNER, person=who, last_login=now - timedelta(days=days))
    SiteRoleFactory(person=person("At Home", 31))
    assert forget_old(now)["people_gone"] == 2
    assert {who.pk for who in Person.objects.all() if is_erased(who)} == {gone.pk, idle.pk}
    assert not is_erased(new)
    assert forget_old(now)["people_gone"] == 0


def test_what_fan_hours_and_weather_were_goes_after_its_time(now: datetime) -> None:
    for at in (now - LONG, now - timedelta(days=29)):
        RuntimeBeforeFactory(at=at)
        WeatherBeforeFactory(at=at)
    assert forget_old(now)["runtime_before"] == 2
    assert RuntimeBefore.objects.get().at == now - timedelta(days=29)
    assert WeatherBefore.objects.get().at == now - timedelta(days=29)


def test_nought_is_for_ever_and_sessions_end(now: datetime, settings: Settings) -> None:
    settings.KEEP_DAYS = dict.fromkeys(settings.KEEP_DAYS, 0)
    NoticeFactory(state="sent", send_at=now - 99 * LONG, text="t")
    Session.objects.create(session_key="over", session_data="", expire_date=now - LONG)
    assert set(forget_old(now).values()) == {0}
    assert Notice.objects.get().text == "t"
    assert not Session.objects.exists()


def test_the_task_says_how_many_went(now: datetime) -> None:
    NoticeFactory(state="sent", send_at=now - 99 * LONG, text="t")
    assert task() == 1


def days_of_a_year(now: datetime) -> System:
    system: System = SystemFactory()
    for days in range(1, 366, 7):
        RuntimeDayFactory(system=system, day=now.date() - timedelta(days=days), fan_hours=days / 20)
    return system


def test_the_task_folds_a_small_desks_old_fan_hours(now: datetime) -> None:
    system = days_of_a_year(now)
    log = fan_log([system.pk], now.date()).by_day()
    with time_machine.travel(now, tick=False):
        assert task() == 0
    last = now.date() - timedelta(days=WHOLE_DAYS)
    assert RuntimeDay.objects.earliest("day").day >= last
    assert fan_log([system.pk], now.date()).by_day() == log


def test_the_task_leaves_a_large_desks_fan_hours_to_its_night(
    now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    days_of_a_year(now)
    FilterSlotFactory()
    monkeypatch.setattr(due, "LARGE", 0)
    with time_machine.travel(now, tick=False):
        task()
    assert RuntimeDay.objects.count() == 53
