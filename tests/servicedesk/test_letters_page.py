"""How letters go out is set on their page."""

import pytest
from django.test import Client
from django.urls import reverse

from schedules.models import Policy

pytestmark = pytest.mark.django_db
TOLD = {
    "lead_days": 12, "together_days": 21, "follow_up_days": 7, "call_after_days": 5, "send_from_hour": 9,
    "send_to_hour": 12, "working_days_only": "on", "text_from_hour": 10, "text_to_hour": 19,
}  # fmt: skip


def test_the_manager_sets_how_letters_go_out(manager: Client) -> None:
    assert manager.post(reverse("outbox"), TOLD).status_code == 302
    policy = Policy.the()
    assert (policy.lead_days, policy.call_after_days, policy.working_days_only) == (12, 5, True)


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"send_from_hour": 12, "send_to_hour": 9}, "end after they begin"),
        ({"text_to_hour": 25}, "from 0 to 24"),
        ({"lead_days": 400}, "At most 120 days"),
        ({"follow_up_days": ""}, "required"),
    ],
)
def test_hours_and_days_that_cannot_be_are_refused(
    manager: Client, more: dict[str, object], why: str
) -> None:
    answer = manager.post(reverse("outbox"), TOLD | more)
    assert answer.status_code == 422
    assert why in answer.text
    assert Policy.the().lead_days == 10
