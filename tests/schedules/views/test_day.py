"""A technician's day: cautions, access, totals, and the order that outlives its redirect."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from schedules.models import Policy, Technician, Visit
from tests.factories import (
    TODAY,
    DeskFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    SiteFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


def address(name: str) -> str:
    return reverse(name, args=[Technician.objects.get().pk, TODAY])


def stop(latitude: float | None = 41.9, *, minutes: int = 30, cautions: str = "", **slot: str) -> Visit:
    longitude = None if latitude is None else -87.63
    site = SiteFactory(latitude=latitude, longitude=longitude, cautions=cautions)
    own = Technician.objects.get()
    visit = VisitFactory(site=site, technician=own, day=TODAY, state=Visit.State.SCHEDULED, minutes=minutes)
    VisitJobFactory(visit=visit, slot=FilterSlotFactory(system__site=site, **slot))
    return visit


@pytest.fixture(autouse=True)
def depot(technician: Client) -> None:
    DeskFactory(latitude=41.88, longitude=-87.63)


def test_a_stop_names_its_dangers_and_how_to_get_in(technician: Client) -> None:
    visit = stop(
        location="attic over the hall", access_notes="key under the third pot", cautions="old insulation"
    )
    VisitJobFactory(visit=visit, slot=None, task=MaintenanceTaskFactory(skill="gas"))
    type(visit.site).objects.update(pets=True)
    text = technician.get(address("day")).text
    assert "Mind: attic, ladder, combustion appliance, pets, old insulation" in text
    assert "Access: key under the third pot" in text


def test_a_stop_without_dangers_on_record_claims_none(technician: Client) -> None:
    stop(location="hall wall", access_notes="catalogue on the shelf", cautions="no pets")
    assert "Mind:" not in technician.get(address("day")).text


def test_the_way_in_is_not_shown_once_the_visit_is_over(technician: Client) -> None:
    stop(access_notes="key under the third pot")
    Visit.objects.update(state=Visit.State.COMPLETED)
    assert "third pot" not in technician.get(address("day")).text


def test_the_order_outlives_its_redirect(technician: Client) -> None:
    far, near = stop(42.2), stop(41.9)
    lost = stop(None)
    answer = technician.post(address("day-order"))
    assert (answer.status_code, answer["Location"]) == (302, address("day"))
    text = technician.get(address("day")).text
    assert f"{lost.site}: The address has no position" in text
    for _again in range(2):
        text = technician.get(address("day")).text
        order = [int(pk) for pk in re.findall(r'<a class="go" href="/visits/(\d+)/"', text)]
        assert order[-1] == lost.pk
        assert set(order[:2]) == {far.pk, near.pk}
        assert "Not in the order of this day" in text


def test_nothing_has_missed_a_place_before_the_day_is_in_order(technician: Client) -> None:
    stop()
    assert "Not in the order of this day" not in technician.get(address("day")).text


def test_the_totals_add_up_the_way_out_the_homes_and_the_way_back(technician: Client) -> None:
    """One stop 0.9 degrees of latitude away: 0.9 x 111.195 km great circle on a sphere of 6,371.0088 km,
    x 1.3 to roads, at 12.5 m/s, and two minutes to park: 175.4 min each way."""
    Policy.objects.filter(pk=Policy.the().pk).update(slow_hours=[])
    visit = stop(42.78, minutes=40)
    arrive = datetime(2026, 5, 12, 16, 0, tzinfo=UTC)
    Visit.objects.filter(pk=visit.pk).update(
        stop_number=1, arrive_at=arrive, leave_at=arrive + timedelta(minutes=40)
    )
    text = re.sub(r"<[^>]+>", "", technician.get(address("day")).text)
    one_way = 0.9 * 111_195.08 * 1.3 / 12.5 / 60 + 2
    # 16:00 UTC is 11:00 in Chicago's summer.
    start, back = (
        f"{int(minutes // 60):02d}:{int(minutes % 60):02d}"
        for minutes in (11 * 60 - one_way, 11 * 60 + 40 + one_way)
    )
    assert (
        f"Starts at {start}, back at {back}: {round(2 * one_way)} min on the road, 40 min at homes." in text
    )


def test_a_day_without_an_order_has_no_totals(technician: Client) -> None:
    stop()
    assert "on the road" not in technician.get(address("day")).text


def test_a_day_without_stops_says_so(technician: Client) -> None:
    assert "<h1>Terry Tool has no stop on Tuesday 12 May 2026</h1>" in technician.get(address("day")).text


def test_an_empty_day_says_when_the_next_stops_are(technician: Client) -> None:
    visit = stop()
    Visit.objects.update(day=TODAY + timedelta(days=3))
    text = technician.get(address("day")).text
    assert "No stop on this day" in text
    assert "The next stops are on Friday 15 May 2026." in text
    assert reverse("day", args=[visit.technician_id, "2026-05-15"]) in text
    assert "<title>" in text
    assert "has no stop on" in text.split("</title>")[0]
