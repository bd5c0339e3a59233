"""The desk's figures, each counted by hand."""

import csv
from datetime import date, datetime, timedelta
from io import StringIO

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import Person
from schedules import figures
from schedules.figures import FIGURES, Table
from schedules.models import Visit
from schedules.visit_promises import Promise
from tests.factories import (
    DefectFactory,
    DepotFactory,
    FilterSlotFactory,
    KeptDateFactory,
    NoticeFactory,
    PersonFactory,
    PlanFactory,
    SiteFactory,
    SiteRoleFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db
MAY = date(2026, 5, 1)


def told(table: Table, figure: str, month: date | None = None) -> tuple[float, float]:
    tally = table.of(figure, month)
    return tally.amount, tally.of


def test_in_the_window_is_by_its_last_day_and_not_far_before_it(now: datetime) -> None:
    """111 days from 10 January to 1 May: 15 % are 17 days, so that the window begins on 14 April."""
    for ended in (date(2026, 4, 14), date(2026, 5, 1), date(2026, 4, 13), date(2026, 5, 3)):
        KeptDateFactory(ended_on=ended)
    table = figures.table(now)
    assert told(table, "on_time") == (2.0, 4.0)
    assert told(table, "on_time", MAY) == (1.0, 2.0)
    assert told(table, "days_late") == (-17 + 0 - 18 + 2, 4.0)


def test_a_short_life_has_a_week_before_its_date(now: datetime) -> None:
    due_on = date(2026, 5, 10)
    for ended in (3, 2):
        KeptDateFactory(began_on=date(2026, 4, 20), due_on=due_on, ended_on=date(2026, 5, ended))
    assert told(figures.table(now), "on_time") == (1.0, 2.0)


def ended(state: str, at: datetime, **more: object) -> Visit:
    visit: Visit = VisitFactory(state=state, completed_at=at, day=at.date(), **more)
    return visit


def test_doors_and_ways(now: datetime) -> None:
    one = TechnicianFactory(name="One", start_latitude=41.5, start_longitude=-88.0)
    there = {"technician": one, "site": SiteFactory(latitude=41.6, longitude=-88.0)}
    at = now - timedelta(hours=5)
    ended("completed", at, **there)
    ended("completed", at + timedelta(hours=1), **there, arrived_at=at + timedelta(minutes=20))
    ended("no_access", at + timedelta(hours=2), **there, arrived_at=at + timedelta(minutes=100))
    ended("completed", at + timedelta(hours=3), technician=TechnicianFactory(name="Two"))
    # Another day's first home was not reached from the evening before.
    next_day = at - timedelta(days=1)
    ended("completed", next_day, **there, arrived_at=next_day - timedelta(minutes=30))
    table = figures.table(now)
    assert told(table, "no_access") == (1.0, 5.0)
    # The way to a shut door was driven too, and is borne by the visits that were completed; the first way of
    # a day and the last are reckoned, and nobody knows where Two set out.
    assert told(table, "driving_noted") == (20.0 + 40.0, 3.0)
    whole, parts = told(table, "driving"), told(table, "driving_reckoned")
    assert whole == (pytest.approx(60.0 + parts[0]), 3.0)


def test_who_came_when_told(now: datetime) -> None:
    """Told ten to twelve; came at eleven, at one, and on another day; a fourth was told nothing."""
    day = now - timedelta(days=2)
    hours = Promise(True, day.date(), day - timedelta(hours=1), day + timedelta(hours=1))
    for arrived, promise in (
        (day, hours),
        (day + timedelta(hours=2), hours),
        (day, Promise(True, day.date() - timedelta(days=1))),
        (day, None),
    ):
        visit = ended("completed", arrived + timedelta(minutes=30), arrived_at=arrived)
        if promise:
            said = promise.as_json()
            NoticeFactory(kind="visit", site=visit.site, visit=visit, state="sent", said=said, sent_at=day)
    assert told(figures.table(now), "kept_hours") == (1.0, 3.0)


def test_the_first_time_is_neither_another_size_nor_seen_again(now: datetime) -> None:
    def seen(days_ago: int, changed: bool, slot: object) -> Visit:
        visit = ended("completed", now - timedelta(days=days_ago))
        VisitJobFactory(visit=visit, slot=slot, done=changed)
        return visit

    right, again, unchanged, odd = FilterSlotFactory.create_batch(4)
    seen(60, True, right)
    seen(20, True, right)  # forty days later is another first time
    seen(60, True, again)
    seen(45, True, again)  # the second trip itself is no first time
    seen(9, False, unchanged)
    DefectFactory(visit=seen(9, True, odd), kind="wrong_size")
    assert told(figures.table(now), "first_time") == (2.0, 5.0)


def test_one_filter_of_another_size_spoils_one_filter_of_its_visit(now: datetime) -> None:
    visit = ended("completed", now - timedelta(days=3))
    for slot in FilterSlotFactory.create_batch(2):
        VisitJobFactory(visit=visit, slot=slot, done=True)
    DefectFactory(visit=visit, kind="wrong_size")
    assert told(figures.table(now), "first_time") == (1.0, 2.0)


@pytest.mark.parametrize("changed", [(False, True), (True, False)])
def test_the_one_of_another_size_is_the_one_that_failed_whatever_their_order(
    now: datetime, changed: tuple[bool, bool]
) -> None:
    visit = ended("completed", now - timedelta(days=3))
    for slot, done in zip(FilterSlotFactory.create_batch(2), changed, strict=True):
        VisitJobFactory(visit=visit, slot=slot, done=done)
    DefectFactory(visit=visit, kind="wrong_size")
    assert told(figures.table(now), "first_time") == (1.0, 2.0)


def test_a_rounds_minutes_are_shared_by_the_branches_of_its_stops(now: datetime) -> None:
    for n in (0, 1):
        DepotFactory(name=f"{n} depot", latitude=41.5 + n, longitude=-88.0)
    one = TechnicianFactory(start_latitude=41.5, start_longitude=-88.0)
    at = now - timedelta(hours=5)
    for hour, north in enumerate((41.6, 42.4, 42.4)):
        place = SiteFactory(latitude=north, longitude=-88.0)
        ended("completed", at + timedelta(hours=hour), technician=one, site=place)
    table = figures.table(now)
    first, second = (table.of("driving", None, key) for key, _name in table.branches)
    assert (first.of, second.of) == (1.0, 2.0)
    assert second.amount == pytest.approx(2 * first.amount)


def test_the_sheet_gives_each_figure_its_value_and_no_sum_of_worst_days(
    manager: Client, now: datetime
) -> None:
    for days in (3, 9):
        slot = FilterSlotFactory(changed_by="technician")
        PlanFactory(slot=slot, due_on=figures.due.today(now) - timedelta(days=days), reason="calendar")
    with time_machine.travel(now, tick=False):
        rows = list(csv.DictReader(StringIO(manager.get("/figures/figures.csv").text)))
    month = f"{now:%Y-%m}"
    mine = {row["figure"]: row for row in rows if row["month"] == month}
    assert (mine["oldest"]["sum"], mine["oldest"]["number"], mine["oldest"]["value"]) == ("", "", "9")
    assert (mine["past_date"]["sum"], mine["past_date"]["value"]) == ("2", "2")
    assert mine["opt_outs"]["value"] == "0"


def test_what_is_past_its_date_is_told_by_branch(manager: Client, now: datetime) -> None:
    depots = [DepotFactory(name=f"{n} depot", latitude=41.0 + n, longitude=-87.6) for n in range(2)]
    for n, days in ((0, 3), (0, 9), (1, 5)):
        site = SiteFactory(latitude=41.0 + n, longitude=-87.6)
        PlanFactory(slot=FilterSlotFactory(system__site=site), due_on=(now - timedelta(days=days)).date())
    table = figures.table(now)
    assert [table.of("past_date", None, depot.pk).amount for depot in depots] == [2.0, 1.0]
    assert [figures.oldest(now, depot.pk).days for depot in depots] == [9, 5]
    with time_machine.travel(now, tick=False):
        assert "due for 5 days" in manager.get(f"/figures/?branch={depots[1].pk}").text


def test_stopping_letters_is_counted_when_it_happens(now: datetime) -> None:
    with time_machine.travel(now - timedelta(days=3), tick=False):
        person: Person = PersonFactory()
        never: Person = PersonFactory(wants_filter_mail=False)
        for somebody in (person, never):
            SiteRoleFactory(person=somebody)
    with time_machine.travel(now - timedelta(days=2), tick=False):
        person.wants_filter_mail = person.wants_visit_mail = False
        person.save()
    with time_machine.travel(now - timedelta(days=1), tick=False):
        person.wants_filter_mail = True
        person.save()
        never.name = "Renamed"
        never.save()
    assert told(figures.table(now), "opt_outs")[0] == 2.0


def test_branches_and_months_add_up_to_the_whole(now: datetime) -> None:
    north = DepotFactory(name="North", latitude=42.5, longitude=-87.8)
    south = DepotFactory(name="South", latitude=41.8, longitude=-87.6)
    for place, (latitude, days) in enumerate([(42.4, 1), (42.4, 40), (41.8, 5), (None, 9)]):
        site = SiteFactory(latitude=latitude, longitude=None if latitude is None else -87.7)
        KeptDateFactory(
            slot=FilterSlotFactory(system__site=site), ended_on=(now - timedelta(days=days)).date()
        )
        ended("no_access" if place % 2 else "completed", now - timedelta(days=days), site=site)
    table = figures.table(now)
    assert [key for key, _name in table.branches] == [north.pk, south.pk]
    for figure in FIGURES:
        whole = table.of(figure.key, None)
        by_branch = [table.of(figure.key, None, key) for key, _name in table.branches]
        by_month = [table.of(figure.key, month) for month in table.months]
        for parts in (by_branch, by_month):
            assert sum(part.amount for part in parts) == whole.amount
            assert sum(part.of for part in parts) == whole.of
    # Where the desk lies nobody knows, so that the home without a place counts with the first depot.
    assert table.of("no_access", None, north.pk).of == 3.0


def test_the_page_and_the_sheet_say_the_same(manager: Client, now: datetime) -> None:
    DepotFactory(name="=North", latitude=42.5, longitude=-87.8)
    site = SiteFactory(latitude=42.4, longitude=-87.7)
    KeptDateFactory(slot=FilterSlotFactory(system__site=site))
    PlanFactory(slot=FilterSlotFactory(system__site=site), due_on=date(2026, 5, 2))
    with time_machine.travel(now, tick=False):
        text = manager.get("/figures/").text
        sheet = manager.get("/figures/figures.csv").text
    assert "100 % of filters were changed in their window; 1 are past their date" in text
    assert "due for 10 days" in text
    assert "on_time,'=North,2026-04,1,1,1.0000" in sheet
    assert len(sheet.splitlines()) == 1 + len(FIGURES) * 12


def test_a_new_desk_has_nothing_to_judge(manager: Client) -> None:
    text = manager.get("/figures/?branch=zzz").text
    assert "there is nothing to judge" in text
    assert manager.get("/figures/?branch=999999999999999999999").status_code == 200


def test_more_visits_take_no_more_queries(now: datetime) -> None:
    def asked(count: int) -> int:
        for _n in range(count):
            KeptDateFactory()
            visit = ended("completed", now - timedelta(days=2))
            VisitJobFactory(visit=visit, slot=FilterSlotFactory(), done=True)
        with CaptureQueriesContext(connection) as caught:
            figures.table(now)
        return len(caught)

    asked(1)
    assert asked(1) == asked(15)


def test_heading_and_table_round_alike(manager: Client, now: datetime) -> None:
    """Two of three is 67 %, in both places."""
    for on in (date(2026, 4, 20), date(2026, 4, 25), date(2026, 5, 9)):
        KeptDateFactory(ended_on=on)
    with time_machine.travel(now, tick=False):
        text = manager.get("/figures/").text
    assert "67 % of filters were changed in their window" in text
    assert "<strong>67 %</strong>" in text


def test_ways_from_and_to_the_start_are_reckoned(now: datetime) -> None:
    """By hand: a tenth of a degree of latitude is 11.12 km; 1.3 times that at 12.5 m/s and two minutes to
    park are 21.3 minutes, and back from twice as far 40.5."""
    one = TechnicianFactory(start_latitude=41.5, start_longitude=-88.0)
    near, far = (SiteFactory(latitude=north, longitude=-88.0) for north in (41.6, 41.7))
    at = now - timedelta(hours=5)
    ended("completed", at, technician=one, site=near)
    ended("completed", at + timedelta(hours=1), technician=one, site=far)
    ended("completed", at, technician=TechnicianFactory(name="From nowhere"), site=far)
    minutes, over = told(figures.table(now), "driving_reckoned")
    # Nobody noted the way between them either, as far as the first.
    assert (minutes, over) == (pytest.approx(21.27 + 21.27 + 40.55, abs=0.1), 2.0)
    Visit.objects.filter(site=far).update(arrived_at=at + timedelta(minutes=25))
    table = figures.table(now)
    assert told(table, "driving_reckoned") == (pytest.approx(21.27 + 40.55, abs=0.1), 2.0)
    assert told(table, "driving") == (pytest.approx(21.27 + 25 + 40.55, abs=0.1), 2.0)


def test_what_was_past_its_date_is_told_as_it_stood_when_each_month_ended(
    manager: Client, now: datetime
) -> None:
    """One overdue from 20 March to 5 April, one since 25 April: none in February, one in March, one in April
    and as of 12 May."""
    site = SiteFactory()
    KeptDateFactory(
        slot=FilterSlotFactory(system__site=site), due_on=date(2026, 3, 20), ended_on=date(2026, 4, 5)
    )
    PlanFactory(slot=FilterSlotFactory(system__site=site), due_on=date(2026, 4, 25))
    table = figures.table(now)
    months = [date(2026, month, 1) for month in (2, 3, 4, 5)]
    assert [table.of("past_date", month).amount for month in months] == [0.0, 1.0, 1.0, 1.0]
    assert [table.of("oldest", month).most for month in months] == [0.0, 12.0, 6.0, 17.0]
    assert (table.of("past_date", None).amount, table.of("oldest", None).most) == (1.0, 17.0)
