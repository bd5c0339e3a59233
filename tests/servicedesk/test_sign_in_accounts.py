"""Who is given an account with their first link, and who is not."""

from datetime import date, datetime
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Person, User
from schedules import emails
from schedules.models import Notice

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
