"""Who is given an account with their first link, and who is not."""

from datetime import date, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import Person, User
from schedules import emails
from schedules.models import Notice
from schedules.sign_in_letters import MOST_AN_HOUR

pytestmark = pytest.mark.django_db


def test_a_household_without_an_account_is_given_one_with_its_first_link(
    homeowner_person: Person, stranger: Client, now: datetime
) -> None:
    stranger.post(reverse("sign-in"), {"email": "ROBIN@home.example"})
    notice = Notice.objects.get()
    account = User.objects.get()
    assert (account.role, account.person) == (User.Role.HOMEOWNER, homeowner_person)
    letter = emails.letter_for(notice, now)
    # The address on record, however it was typed.
    assert letter.to == "robin@home.example"
    assert letter.stop_url == ""
    link = urlsplit(next(line for line in letter.text.splitlines() if "sesame=" in line))
    token = parse_qs(link.query)["sesame"][0]
    stranger.post(link.path, {"sesame": token})
    assert stranger.get(reverse("home")).status_code == 302


def test_somebody_who_moved_out_gets_no_account(homeowner_person: Person, stranger: Client) -> None:
    homeowner_person.roles.update(until=date(2026, 1, 1))
    stranger.post(reverse("sign-in"), {"email": "robin@home.example"})
    assert not User.objects.exists()
    assert not Notice.objects.exists()


def test_five_letters_an_hour_are_enough_for_anybody(
    homeowner_person: Person, stranger: Client, now: datetime
) -> None:
    with time_machine.travel(now, tick=False) as clock:
        for _ in range(9):
            stranger.post(reverse("sign-in"), {"email": "robin@home.example"})
            clock.shift(timedelta(minutes=2))
        assert Notice.objects.count() == MOST_AN_HOUR == 5
        clock.shift(timedelta(hours=1))
        stranger.post(reverse("sign-in"), {"email": "robin@home.example"})
        assert Notice.objects.count() == 6
