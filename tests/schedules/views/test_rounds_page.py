"""The pages of rounds and of people: asked for, watched, taken over; hours, leave and depots written down."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from equipment.models import FilterSlot, Site
from schedules import round_runs
from schedules.models import Absence, Depot, HomeHours, RoundPlan, Technician, Visit
from tests.factories import (
    AbsenceFactory,
    DepotFactory,
    PlanFactory,
    RoundPlanFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def ripe(home_slot: FilterSlot) -> FilterSlot:
    """The home's filter, due in three working days' time, at a placed home that a technician looks after."""
    Site.objects.update(latitude=41.9, longitude=-87.8)
    FilterSlot.objects.filter(pk=home_slot.pk).update(changed_by="technician")
    due = timezone.localdate() + timedelta(days=6)
    PlanFactory(slot=home_slot, due_on=due, life_began_on=due - timedelta(days=90))
    TechnicianFactory(name="Van one", start_latitude=41.88, start_longitude=-87.75)
    return home_slot


def asked(manager: Client, **more: Any) -> Any:
    today = timezone.localdate()
    told = {
        "first_day": (today + timedelta(days=1)).isoformat(),
        "last_day": (today + timedelta(days=8)).isoformat(),
        "seconds": "10",
    }
    return manager.post(reverse("rounds"), told | more)


def test_a_plan_goes_from_the_form_to_booked_visits(manager: Client, ripe: FilterSlot) -> None:
    answer = asked(manager)
    plan = RoundPlan.objects.get()
    assert answer["Location"] == reverse("round", args=[plan.pk])
    waiting = manager.get(answer["Location"]).text
    assert "waits to be worked out" in waiting
    assert 'hx-trigger="every 2s"' in waiting
    round_runs.run_waiting(timezone.now())
    ready = manager.get(answer["Location"])
    assert "1 stop in 1 round; every home that must be served has its place" in ready.text
    assert "Van one" in ready.text
    assert manager.get(answer["Location"], headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    taken = manager.post(reverse("round-take", args=[plan.pk]), follow=True)
    assert "1 visit is booked" in taken.text
    assert Visit.objects.get().technician.name == "Van one"  # type: ignore[union-attr]
    again = manager.post(reverse("round-take", args=[plan.pk]), follow=True)
    assert "taken over already" in again.text


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"first_day": "2020-01-01"}, "tomorrow at the earliest"),
        ({"first_day": "soon"}, "error"),
        ({"seconds": "7"}, "error"),
    ],
)
def test_what_cannot_be_planned_is_said(manager: Client, more: dict[str, str], why: str) -> None:
    answer = asked(manager, **more)
    assert answer.status_code == 422
    assert why in answer.text
    assert not RoundPlan.objects.exists()


def test_a_plan_is_called_off_and_one_without_rounds_has_no_file(manager: Client) -> None:
    plan = RoundPlanFactory()
    text = manager.post(reverse("round-stop", args=[plan.pk]), follow=True).text
    assert "The plan was called off before it was worked out" in text
    assert manager.get(reverse("round-file", args=[plan.pk, "gpx"])).status_code == 404


def test_files_name_their_kind(manager: Client, ripe: FilterSlot) -> None:
    asked(manager)
    round_runs.run_waiting(timezone.now())
    plan = RoundPlan.objects.get()
    answer = manager.get(reverse("round-file", args=[plan.pk, "geojson"]))
    assert answer["Content-Type"] == "application/geo+json"
    assert manager.get(reverse("round-file", args=[plan.pk, "kml"])).status_code == 404


def test_somebody_new_is_written_down_and_changed(manager: Client) -> None:
    told = {
        "name": "Van two", "day_starts": "08:00", "day_ends": "16:30", "van_room": "25",
        "weekdays": ["0", "1", "5"], "skills_text": "Gas, refrigerant , gas",
    }  # fmt: skip
    text = manager.post(reverse("technician-new"), told, follow=True).text
    who = Technician.objects.get()
    assert (who.skills, who.weekdays, who.van_room) == (["gas", "refrigerant"], [0, 1, 5], 25)
    assert "Monday, Tuesday, Saturday" in text
    manager.post(reverse("technician", args=[who.pk]), told | {"van_room": "30"})
    assert Technician.objects.get().van_room == 30
    assert "no longer works here" in manager.post(reverse("technician-gone", args=[who.pk]), follow=True).text


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"day_ends": "07:00"}, "ends before it begins"),
        ({"start_latitude": "41.9"}, "both latitude and longitude"),
        ({"start_latitude": "91", "start_longitude": "0"}, "no such place"),
        ({"weekdays": []}, "error"),
        ({"name": ""}, "error"),
    ],
)
def test_a_technician_who_cannot_be_is_refused(manager: Client, more: dict[str, Any], why: str) -> None:
    told = {"name": "X", "day_starts": "08:00", "day_ends": "16:30", "van_room": "25", "weekdays": ["0"]}
    answer = manager.post(reverse("technician-new"), told | more)
    assert answer.status_code == 422
    assert why in answer.text
    assert not Technician.objects.exists()


def test_leave_days_off_and_depots(manager: Client) -> None:
    wrong = {"first_day": "2026-12-26", "last_day": "2026-12-24"}
    assert "lies before the first" in manager.post(reverse("absence"), wrong).text
    told = {"first_day": "2096-12-24", "last_day": "2096-12-26", "why": "holidays"}
    assert "the whole desk" in manager.post(reverse("absence"), told, follow=True).text
    manager.post(reverse("absence-ends", args=[Absence.objects.get().pk]))
    assert "Nobody is away" in manager.get(reverse("people")).text
    assert manager.post(reverse("depot-new"), {"name": "North", "latitude": "95"}).status_code == 422
    manager.post(reverse("depot-new"), {"name": "North", "latitude": "41.9", "longitude": "-87.8"})
    assert Depot.objects.get().name == "North"


def test_what_suits_a_home_is_written_down_and_wrong_hours_are_said(manager: Client, home: Site) -> None:
    address = reverse("home-hours", args=[home.pk])
    text = manager.post(address, {"not_before": "15:00", "not_after": "09:00"}, follow=True).text
    assert "end before they begin" in text
    assert not HomeHours.objects.exists()
    manager.post(address, {"weekdays": ["1", "3"], "not_before": "09:00"})
    assert HomeHours.objects.get().weekdays == [1, 3]


def test_a_visit_is_held_and_let_go(manager: Client) -> None:
    visit = VisitFactory(technician=TechnicianFactory(), day=date(2096, 5, 14), state=Visit.State.SCHEDULED)
    address = reverse("visit-hold", args=[visit.pk])
    assert "no plan moves it" in manager.post(address, {"held": "1"}, follow=True).text
    manager.post(address, {"held": "0"})
    assert not Visit.objects.get().pinned


def worked_out(manager: Client) -> RoundPlan:
    asked(manager)
    round_runs.run_waiting(timezone.now())
    return RoundPlan.objects.get()


def test_what_changed_since_is_said_before_and_what_was_left_after(manager: Client, ripe: FilterSlot) -> None:
    plan = worked_out(manager)
    page = reverse("round", args=[plan.pk])
    assert "Changed since it was worked out" not in manager.get(page).text
    AbsenceFactory(first_day=plan.first_day, last_day=plan.last_day)
    before = manager.get(page).text
    assert "Changed since it was worked out" in before
    assert "Van one is away on that day." in before
    manager.post(reverse("round-take", args=[plan.pk]))
    after = manager.get(page).text
    assert "Taken over: 0 booked, 0 moved; 1 home left as it was" in after
    assert "Van one is away on that day." in after
    assert not Visit.objects.exists()


def test_a_home_booked_meanwhile_is_named(manager: Client, ripe: FilterSlot) -> None:
    plan = worked_out(manager)
    visit = VisitFactory(site=ripe.system.site, state="due")
    VisitJobFactory(visit=visit, slot=ripe)
    assert "It was booked since." in manager.get(reverse("round", args=[plan.pk])).text


def test_a_kept_stop_is_not_taken_over_on_leave(manager: Client, ripe: FilterSlot) -> None:
    van, day = Technician.objects.get(), timezone.localdate() + timedelta(days=1)
    visit = VisitFactory(site=ripe.system.site, state="scheduled", technician=van, day=day)
    VisitJobFactory(visit=visit, slot=ripe)
    plan = worked_out(manager)
    AbsenceFactory(first_day=plan.first_day, last_day=plan.last_day)
    manager.post(reverse("round-take", args=[plan.pk]))
    assert RoundPlan.objects.get().outcome["refused"][0][1] == "Van one is away on that day."


def test_the_waiting_page_is_drawn_anew_once_the_state_is_another(manager: Client) -> None:
    plan = RoundPlanFactory(state="running")
    look = {"headers": {"HX-Request": "true"}}
    page = reverse("round", args=[plan.pk])
    assert "HX-Refresh" not in manager.get(page, {"was": "running"}, **look).headers
    assert manager.get(page, {"was": "waiting"}, **look).headers["HX-Refresh"] == "true"


def test_nobody_works_on_these_days(manager: Client, ripe: FilterSlot) -> None:
    Technician.objects.update(weekdays=[])
    plan = worked_out(manager)
    assert "Nobody works on these days" in manager.get(reverse("round", args=[plan.pk])).text


def test_leave_names_the_visits_booked_then_and_frees_them(manager: Client, home: Site) -> None:
    day = timezone.localdate() + timedelta(days=2)
    who = TechnicianFactory(name="Van one")
    visit = VisitFactory(site=home, technician=who, day=day, state="scheduled", pinned=True)
    told = {"technician": who.pk, "first_day": day.isoformat(), "last_day": day.isoformat()}
    text = manager.post(reverse("absence"), told, follow=True).text
    assert "1 visit is booked on these days" in text
    assert reverse("visit", args=[visit.pk]) in text
    assert "Van one is away on that day." in manager.get(reverse("day", args=[who.pk, day.isoformat()])).text
    twice = manager.post(reverse("absence"), told)
    assert (twice.status_code, "That is on record already." in twice.text) == (422, True)
    text = manager.post(reverse("absence-free", args=[Absence.objects.get().pk]), follow=True).text
    assert "1 visit waits for another day." in text
    visit.refresh_from_db()
    assert (visit.state, visit.day, visit.technician, visit.pinned) == ("displaced", None, None, False)


def test_leave_that_is_past_is_refused(manager: Client) -> None:
    past = (timezone.localdate() - timedelta(days=3)).isoformat()
    assert (
        "These days are past." in manager.post(reverse("absence"), {"first_day": past, "last_day": past}).text
    )


def test_a_name_that_differs_in_case_alone_is_the_same_person_and_may_come_back(manager: Client) -> None:
    who = TechnicianFactory(name="Ada Reyes", gone_on=timezone.localdate())
    told = {
        "name": "ADA REYES", "day_starts": "08:00", "day_ends": "17:00", "van_room": "40", "weekdays": ["0"],
    }  # fmt: skip
    assert "bring them back instead" in manager.post(reverse("technician-new"), told).text
    manager.post(reverse("technician-back", args=[who.pk]))
    assert Technician.objects.get().gone_on is None


@pytest.mark.parametrize("room", ["0", "100000"])
def test_a_van_without_room_or_with_a_barn_s_is_refused(manager: Client, room: str) -> None:
    told = {
        "name": "Bo", "day_starts": "08:00", "day_ends": "17:00", "van_room": room, "weekdays": ["0"],
    }  # fmt: skip
    assert "A van holds from 1 to 2000 filters." in manager.post(reverse("technician-new"), told).text


def test_a_depot_is_changed_and_given_up(manager: Client) -> None:
    depot = DepotFactory(name="North")
    TechnicianFactory(name="Van one", depot=depot)
    at_sea = {"name": "North", "latitude": "0", "longitude": "0"}
    assert "That is in the sea" in manager.post(reverse("depot", args=[depot.pk]), at_sea).text
    moved = {"name": "North", "latitude": "42", "longitude": "-88"}
    assert "North" in manager.get(reverse("depot", args=[depot.pk])).text
    manager.post(reverse("depot", args=[depot.pk]), moved)
    assert Depot.objects.get().latitude == 42
    text = manager.post(reverse("depot-closed", args=[depot.pk]), follow=True).text
    assert "At the desk starts from now on: Van one." in text
    assert Technician.objects.get().depot is None
