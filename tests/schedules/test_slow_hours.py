"""The desk's slow hours: written, read, and counted with in days, rounds and observed ways."""

from datetime import date, time

import pytest
from django.test import Client
from django.urls import reverse

from schedules import slow_hours
from schedules.hours import seconds_of
from schedules.models import Policy, Technician
from tests.factories import NOW, TODAY, TechnicianFactory
from tests.schedules.test_rounds import a_home, planned

pytestmark = pytest.mark.django_db
SPANS: list[list[str | int]] = [["07:00", "09:00", 80], ["16:30", "18:00", 75]]


def test_lines_are_read_and_written() -> None:
    assert slow_hours.read("16:30–18 : 75%\n\n 7-9 80\n") == SPANS
    assert slow_hours.read(slow_hours.write(SPANS)) == SPANS
    assert slow_hours.read("") == []


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("rush", "write hours and a speed"),
        ("7-25 80", "no such hour"),
        ("9-7 80", "end before they begin"),
        ("7-9 5", "10 to 200 %"),
        ("7-9 80\n8-10 90", "Two lines speak of the hour from 08:00"),
    ],
)
def test_what_is_no_slow_hour_is_said(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        slow_hours.read(text)


def test_weekends_have_no_rush() -> None:
    friday, saturday = date(2026, 5, 15), date(2026, 5, 16)
    pace = slow_hours.pace_over(
        [friday, saturday], lambda day, hour: (day - friday).days * 86_400 + seconds_of(hour)
    )
    assert pace.arrive(7 * 3600, 800) == 7 * 3600 + 1000
    assert pace.arrive(86_400 + 7 * 3600, 800) == 86_400 + 7 * 3600 + 800


def test_the_manager_sets_speed_and_hours_in_their_own_units(manager: Client) -> None:
    page = manager.get(reverse("people")).text
    assert "07:00-09:00 80 %" in page
    told = {"speed": "30", "slow_hours": "6-8 70", "visit_notice_days": "3"}
    assert manager.post(reverse("roads"), told).status_code == 302
    policy = Policy.the()
    assert policy.road_speed_ms == pytest.approx(30 * 0.44704)
    assert (policy.slow_hours, policy.visit_notice_days) == ([["06:00", "08:00", 70]], 3)
    answer = manager.post(reverse("roads"), told | {"speed": "300", "slow_hours": "x"})
    assert answer.status_code == 422
    assert "No van drives at that speed" in answer.text
    assert "write hours and a speed" in answer.text
    assert Policy.the().slow_hours == [["06:00", "08:00", 70]]


def test_a_speed_nobody_retyped_keeps_its_digits(manager: Client) -> None:
    manager.post(reverse("roads"), {"speed": "28", "slow_hours": "", "visit_notice_days": "2"})
    assert Policy.the().road_speed_ms == 12.5


def test_a_round_takes_longer_in_slow_hours() -> None:
    TechnicianFactory(start_latitude=41.88, start_longitude=-87.75, day_starts=time(7), day_ends=time(9))
    a_home(TODAY)
    hours = []
    for spans in ([], [["07:00", "09:00", 50]]):
        Policy.objects.filter(pk=Policy.the().pk).update(slow_hours=spans)
        _asked, proposal = planned()
        hours.append(proposal["travel_s"])
    # A second is rounded up on either way.
    assert hours[1] == pytest.approx(2 * hours[0], abs=2)


def test_what_is_late_is_planned_on_the_first_day_though_another_is_nearer() -> None:
    """A home late by weeks lies 20 minutes beyond the others, who want the third day."""
    technician: Technician = TechnicianFactory(start_latitude=41.88, start_longitude=-87.75)
    late = a_home(TODAY.replace(day=1), latitude=42.0, longitude=-87.75)
    Policy.objects.filter(pk=Policy.the().pk).update(visit_notice_days=0)
    _asked, proposal = planned()
    first = proposal["days"][0]
    assert first["technician"] == technician.pk
    assert (first["stops"][0]["site"], first["day"]) == (late.system.site_id, "2026-05-13")


def test_nobody_is_visited_sooner_than_they_can_be_told() -> None:
    assert NOW.date() == TODAY
    TechnicianFactory(start_latitude=41.88, start_longitude=-87.75)
    a_home(TODAY)
    Policy.objects.filter(pk=Policy.the().pk).update(visit_notice_days=3)
    _asked, proposal = planned()
    assert [day["day"] for day in proposal["days"]] == ["2026-05-15"]
