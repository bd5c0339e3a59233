"""Two managers at one visit: whoever comes second is told, and nothing is written over unseen."""

import re
import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from equipment.models import User
from schedules.models import Technician, Visit
from tests.factories import TODAY, TechnicianFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any, now: Any) -> None:
    time_machine.move_to(now, tick=False)


@pytest.fixture
def visit(db: None) -> Visit:
    found: Visit = VisitFactory(
        state="scheduled", technician=TechnicianFactory(name="Ada"), day=TODAY + timedelta(days=3)
    )
    return found


def other_manager() -> Client:
    client = Client()
    client.force_login(
        UserFactory(role=User.Role.MANAGER, is_superuser=True, first_name="Mo", last_name="Reed")
    )
    return client


def shown_to(client: Client, visit: Visit) -> str:
    page = client.get(reverse("visit", args=[visit.pk])).text
    found = re.findall(r'name="shown" value="([^"]*)"', page)
    assert len(found) == 2
    return str(found[0])


def to_move(visit: Visit, shown: str, days: int) -> dict[str, Any]:
    day = TODAY + timedelta(days=days)
    return {"shown": shown, "technician": visit.technician_id, "day": str(day), "sure": "on"}


def test_whoever_is_second_is_told_what_was_changed_and_by_whom(manager: Client, visit: Visit) -> None:
    other = other_manager()
    mine, theirs = shown_to(manager, visit), shown_to(other, visit)
    address = reverse("visit-book", args=[visit.pk])
    assert other.post(address, to_move(visit, theirs, 9)).status_code == 302
    refused = manager.post(address, to_move(visit, mine, 16))
    assert refused.status_code == 422
    assert "Meanwhile Mo Reed changed this visit: Ada comes to" in refused.text
    assert Visit.objects.get().day == TODAY + timedelta(days=9)
    # Having seen it, they may.
    assert manager.post(address, to_move(visit, shown_to(manager, visit), 16)).status_code == 302
    assert Visit.objects.get().day == TODAY + timedelta(days=16)


def test_what_was_moved_is_not_called_off_unseen(manager: Client, visit: Visit) -> None:
    mine = shown_to(manager, visit)
    Visit.objects.update(day=TODAY + timedelta(days=9))
    page = manager.post(reverse("visit-cancel", args=[visit.pk]), {"shown": mine}, follow=True).text
    assert "Meanwhile somebody changed this visit" in page
    assert Visit.objects.get().state == "scheduled"
    manager.post(reverse("visit-cancel", args=[visit.pk]), {"shown": shown_to(manager, visit)})
    assert Visit.objects.get().state == "cancelled"


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_of_two_at_the_same_moment_one_is_told(manager_user: User) -> None:
    visit = VisitFactory(
        state="scheduled", technician=TechnicianFactory(name="Ada"), day=TODAY + timedelta(days=3)
    )
    clients = [other_manager() for _ in range(4)]
    shown = shown_to(clients[0], visit)
    start, found = threading.Barrier(len(clients)), []

    def move(client: Client, days: int) -> None:
        try:
            start.wait()
            answer = client.post(reverse("visit-book", args=[visit.pk]), to_move(visit, shown, days))
            found.append(answer.status_code)
        finally:
            connection.close()

    threads = [threading.Thread(target=move, args=(client, 9 + n)) for n, client in enumerate(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == [302, 422, 422, 422]
    assert Technician.objects.count() == 1
