"""Completing a visit on its page."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import AirRecord, FilterSlot
from schedules import routes
from schedules.models import Technician, Visit
from shared.units import PA_PER_INWC
from tests.factories import (
    NOW,
    TODAY,
    DeskFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    SiteFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db
LATER = TODAY + timedelta(days=20)


@pytest.fixture
def later(technician: Client) -> list[Visit]:
    """Two stops of the technician's on 1 June, in order."""
    DeskFactory(latitude=41.88, longitude=-87.63)
    own, made = Technician.objects.get(), []
    for latitude in (41.9, 42.2):
        site = SiteFactory(latitude=latitude, longitude=-87.63)
        visit = VisitFactory(site=site, technician=own, day=LATER, state=Visit.State.SCHEDULED)
        VisitJobFactory(visit=visit, slot=FilterSlotFactory(system__site=site))
        made.append(visit)
    routes.order_day(own, LATER, NOW)
    return made


def complete(client: Client, visit: Visit, **more: str) -> tuple[int, str]:
    slot = FilterSlot.objects.get(jobs__visit=visit)
    typed = {
        f"slot{slot.pk}-{name}": value
        for name, value in {"changed": "on", "drop_before": "30 Pa", **more}.items()
    }
    answer = client.post(reverse("visit-complete", args=[visit.pk]), typed, follow=True)
    visit.refresh_from_db()
    return answer.status_code, answer.text


def test_the_page_of_a_later_visit_says_that_completing_it_is_done_today(
    technician: Client, later: list[Visit]
) -> None:
    text = technician.get(reverse("visit", args=[later[0].pk])).text
    assert "This visit is booked for 1 June 2026." in text
    assert "done today, 12 May 2026" in text
    assert "Complete it as done today" in text


def test_a_later_visit_completed_now_is_a_visit_of_today(technician: Client, later: list[Visit]) -> None:
    status, text = complete(technician, later[0])
    assert status == 200
    assert "Done today, 12 May 2026, instead of 1 June 2026." in text
    assert (later[0].state, later[0].day, later[0].completed_at) == (Visit.State.COMPLETED, TODAY, NOW)
    assert FilterSlot.objects.get(jobs__visit=later[0]).changes.get().changed_on == TODAY


def test_the_day_that_it_leaves_is_put_in_order_again(technician: Client, later: list[Visit]) -> None:
    assert sorted(visit.stop_number or 0 for visit in Visit.objects.all()) == [1, 2]
    first = Visit.objects.get(stop_number=1)
    complete(technician, first)
    assert first.stop_number is None
    assert list(Visit.objects.filter(day=LATER).values_list("stop_number", flat=True)) == [1]


def test_a_refused_completion_leaves_the_visit_on_its_day(technician: Client, later: list[Visit]) -> None:
    status, text = complete(technician, later[0], drop_before="12")
    assert status == 422
    assert "This visit is booked for 1 June 2026." in text
    assert (later[0].state, later[0].day) == (Visit.State.SCHEDULED, LATER)
    assert later[0].stop_number is not None


def test_a_visit_of_today_and_one_of_yesterday_keep_their_days(
    technician: Client, later: list[Visit]
) -> None:
    for visit, day in zip(later, (TODAY, date(2026, 5, 11)), strict=True):
        Visit.objects.filter(pk=visit.pk).update(day=day)
        assert "booked for" not in technician.get(reverse("visit", args=[visit.pk])).text
        complete(technician, visit)
        assert (visit.state, visit.day) == (Visit.State.COMPLETED, day)


def book_again(manager: Client, visit: Visit, day: date) -> str:
    """The page after the visit was given to its technician on ``day``."""
    typed = {"technician": visit.technician_id, "day": day.isoformat()}
    answer = manager.post(reverse("visit-book", args=[visit.pk]), typed, follow=True)
    assert answer.status_code == 200
    return str(answer.text)


def test_booking_for_today_says_the_time_and_moves_nobody(manager: Client, later: list[Visit]) -> None:
    Visit.objects.update(day=TODAY)
    routes.order_day(Technician.objects.get(), TODAY, NOW - timedelta(hours=12))
    given = Visit.objects.get(pk=later[1].pk).arrive_at
    text = book_again(manager, later[0], TODAY)
    fitted = Visit.objects.get(pk=later[0].pk)
    assert Visit.objects.get(pk=later[1].pk).arrive_at == given
    assert "on 12 May 2026 at about" in text
    assert fitted.arrive_at is not None
    assert fitted.arrive_at > NOW


def test_a_booking_without_a_position_says_it_in_one_breath_and_speaks_of_no_other_home(
    manager: Client, later: list[Visit]
) -> None:
    for visit in later:
        type(visit.site).objects.filter(pk=visit.site_id).update(latitude=None, longitude=None)
    text = book_again(manager, later[0], LATER)
    assert text.count("without a time yet. The address has no position") == 1
    assert later[1].site.name not in text


def test_a_visit_for_a_task_alone_takes_the_air_side_too(technician: Client, later: list[Visit]) -> None:
    visit = VisitFactory(
        site=later[0].site, technician=Technician.objects.get(), day=TODAY, state=Visit.State.SCHEDULED
    )
    task = MaintenanceTaskFactory(system__site=visit.site)
    VisitJobFactory(visit=visit, slot=None, task=task)
    name = f"air{task.system_id}-"
    assert name + "return_static" in technician.get(reverse("visit", args=[visit.pk])).text
    told = {name + "airflow": "1000", name + "supply_static": "0.2", "task": str(task.pk)}
    technician.post(reverse("visit-complete", args=[visit.pk]), told)
    record = AirRecord.objects.get()
    assert record.system_id == task.system_id
    assert record.supply_static_pa == pytest.approx(0.2 * PA_PER_INWC)


def test_a_static_read_behind_the_filter_takes_the_drop_read_at_the_visit(
    technician: Client, later: list[Visit]
) -> None:
    assert complete(technician, later[0], drop_after="0.12")[0] == 200
    assert not AirRecord.objects.exists()
    slot = FilterSlot.objects.get(jobs__visit=later[1])
    name = f"air{slot.system_id}-"
    told = {
        f"slot{slot.pk}-changed": "on", f"slot{slot.pk}-drop_after": "0.12",
        name + "return_static": "0.30", name + "filter_in": "in",
    }  # fmt: skip
    technician.post(reverse("visit-complete", args=[later[1].pk]), told)
    assert AirRecord.objects.get().return_static_pa == pytest.approx(0.18 * PA_PER_INWC)


def test_a_second_trip_to_a_home_is_asked_about(manager: Client, home_slot: FilterSlot) -> None:
    driver = TechnicianFactory()
    day = TODAY + timedelta(days=2)
    VisitFactory(site=home_slot.system.site, technician=driver, day=day, state=Visit.State.SCHEDULED)
    told = {
        "site": home_slot.system.site_id,
        "slot": home_slot.pk,
        "technician": driver.pk,
        "day": day.isoformat(),
    }
    answer = manager.post(reverse("visits"), told)
    assert answer.status_code == 422
    assert Visit.objects.count() == 1
    manager.post(reverse("visits"), {**told, "sure": "on"})
    assert Visit.objects.count() == 2


def test_calling_off_says_so_and_keeps_the_reason(manager: Client) -> None:
    visit = VisitFactory(technician=TechnicianFactory(), day=TODAY, state="scheduled")
    answer = manager.post(reverse("visit-cancel", args=[visit.pk]), {"note": "moved away"}, follow=True)
    assert "Called off:" in answer.text
    assert "Nobody had been told of it." in answer.text
    visit.refresh_from_db()
    assert (visit.state, visit.note) == (Visit.State.CANCELLED, "moved away")


def test_a_change_of_which_nothing_was_written_is_asked_about_once(
    technician: Client, later: list[Visit]
) -> None:
    visit = later[0]
    status, text = complete(technician, visit, drop_before="")
    assert (status, visit.state) == (422, Visit.State.SCHEDULED)
    assert "was this filter changed?" in text
    status, _text = complete(technician, visit, drop_before="", sure="on")
    assert visit.state == Visit.State.COMPLETED


def test_two_statics_subtracted_are_asked_about(technician: Client, later: list[Visit]) -> None:
    visit = later[0]
    status, text = complete(technician, visit, drop_before="0.30-0.18")
    assert (status, visit.state) == (422, Visit.State.SCHEDULED)
    assert "read against the room, one on each side of the filter" in text
    complete(technician, visit, drop_before="0.30-0.18", sure="on")
    assert visit.state == Visit.State.COMPLETED
