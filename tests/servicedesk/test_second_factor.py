"""A second factor: after the link nothing opens without the code, a code opens once, and it can be ended."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
import sesame.utils
import time_machine
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from equipment import api_keys, second_factor
from equipment.models import User
from equipment.second_factor import WrongCode
from shared.keys import new_seed
from tests.factories import NOW

pytestmark = pytest.mark.django_db
ASK, SET_UP = reverse("second"), reverse("second-set-up")


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def careful(manager_user: User) -> User:
    """Has it on since an hour ago, with a code of then."""
    at, seed = NOW - timedelta(hours=1), new_seed()
    second_factor.turn_on(manager_user, seed, of(seed, at), at)
    manager_user.refresh_from_db()
    return manager_user


def of(seed: str, at: datetime = NOW) -> str:
    return pyotp.TOTP(second_factor.secret(seed)).at(at)


def code(user: User, at: datetime = NOW) -> str:
    return of(user.second_seed, at)


def by_link(user: User) -> Client:
    client = Client()
    token = sesame.utils.get_token(user)
    answer = client.post(reverse("sign-in-by-link"), {"sesame": token, "next": "/due/"}, follow=True)
    assert answer.status_code == 200
    return client


def test_the_vectors_of_rfc_6238(manager_user: User, monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 6238, appendix B, SHA-1: the last six of its eight figures."""
    monkeypatch.setattr(
        second_factor, "raw_key_of", lambda purpose, seed: b"12345678901234567890" + b"\0" * 12
    )
    manager_user.second_seed = "any"
    for at, told in ((59, "287082"), (1111111109, "081804"), (1111111111, "050471"), (2000000000, "279037")):
        second_factor.use(manager_user, told, datetime.fromtimestamp(at, UTC))
    with pytest.raises(WrongCode):
        second_factor.use(manager_user, "000000", datetime.fromtimestamp(2000000000, UTC))


def test_after_the_link_nothing_opens_before_the_code(careful: User) -> None:
    client = by_link(careful)
    for address in ("/due/", "/season/", "/admin/", SET_UP, "/"):
        answer = client.get(address)
        assert (answer.status_code, answer["Location"].split("?")[0]) == (302, ASK), address
    assert client.post(reverse("units"), {"units": "si"})["Location"].startswith(ASK)
    before = client.session.session_key
    answer = client.post(ASK, {"code": code(careful), "next": "/season/"})
    assert answer["Location"] == "/season/"
    assert client.session.session_key != before
    assert client.get("/due/").status_code == 200


def test_a_code_opens_once_and_those_beside_it_in_time_do_too(
    careful: User, clock: time_machine.Traveller
) -> None:
    late = code(careful, NOW - timedelta(seconds=30))
    assert by_link(careful).post(ASK, {"code": f" {late[:3]} {late[3:]} "}).status_code == 302
    again = by_link(careful).post(ASK, {"code": late})
    assert again.status_code == 422
    assert "it was used already" in again.text
    clock.shift(timedelta(seconds=90))
    assert by_link(careful).post(ASK, {"code": code(careful)}).status_code == 422
    assert by_link(careful).post(ASK, {"code": code(careful, NOW + timedelta(seconds=90))}).status_code == 302


def test_after_ten_wrong_ones_no_code_is_looked_at_for_a_while(
    careful: User, clock: time_machine.Traveller
) -> None:
    client = by_link(careful)
    for _ in range(10):
        client.post(ASK, {"code": "000000" if code(careful) != "000000" else "111111"})
    assert "wait ten minutes" in client.post(ASK, {"code": code(careful)}).text
    clock.shift(timedelta(minutes=11))
    assert client.post(ASK, {"code": code(careful, NOW + timedelta(minutes=11))}).status_code == 302


def test_nothing_leads_away_from_the_desk(careful: User) -> None:
    answer = by_link(careful).post(ASK, {"code": code(careful), "next": "https://elsewhere.example/"})
    assert answer["Location"] == "/"


def test_it_is_set_up_by_a_code_and_ended_by_one(
    manager: Client, manager_user: User, clock: time_machine.Traveller
) -> None:
    page = manager.get(SET_UP).text
    seed = manager.session["second_seed"]
    assert second_factor.secret(seed) in page
    assert "<svg" in page
    assert manager.post(SET_UP, {"code": "12"}).status_code == 422
    assert manager.session["second_seed"] == seed
    assert not second_factor.is_on(User.objects.get(pk=manager_user.pk))
    manager.post(SET_UP, {"code": of(seed)})
    manager_user.refresh_from_db()
    assert (manager_user.second_since, manager_user.second_seed) == (NOW, seed)
    # Whoever set it up has just shown a code; the secret is not shown again.
    assert manager.get("/due/").status_code == 200
    assert second_factor.secret(seed) not in manager.get(SET_UP).text
    clock.shift(timedelta(minutes=1))
    manager.post(SET_UP, {"code": code(manager_user, NOW + timedelta(minutes=1))})
    manager_user.refresh_from_db()
    assert (manager_user.second_since, manager_user.second_seed) == (None, "")


def test_whoever_looked_in_before_does_not_know_the_secret(manager: Client, manager_user: User) -> None:
    manager.get(SET_UP)
    other = by_link(manager_user)
    other.get(SET_UP)
    assert other.session["second_seed"] != manager.session["second_seed"]


def test_no_flood_elsewhere_lifts_the_limit_and_a_household_is_never_asked(careful: User) -> None:
    client = by_link(careful)
    for _ in range(10):
        client.post(ASK, {"code": "000000" if code(careful) != "000000" else "111111"})
    cache.clear()
    assert "wait ten minutes" in by_link(careful).post(ASK, {"code": code(careful)}).text
    User.objects.update(role=User.Role.HOMEOWNER)
    household = Client()
    household.force_login(User.objects.get(pk=careful.pk))
    assert household.get("/")["Location"] == reverse("home")


def test_keys_of_programs_and_people_without_it_are_let_alone(careful: User, technician: Client) -> None:
    key = api_keys.make(careful, "a script", NOW)[1]
    assert Client().get("/api/v1/sites", headers={"Authorization": f"Bearer {key}"}).status_code == 200
    assert technician.get(reverse("look-up")).status_code == 200


def test_a_lost_phone_is_helped_by_whoever_runs_the_server(careful: User) -> None:
    careful.email = "ada@desk.example"
    careful.save()
    call_command("end_second_factor", "ADA@desk.example")
    assert by_link(User.objects.get(pk=careful.pk)).get("/due/").status_code == 200
    with pytest.raises(CommandError, match="asks for a code"):
        call_command("end_second_factor", "ada@desk.example")


def test_the_database_alone_has_no_secret(careful: User) -> None:
    kept = str(User.objects.filter(pk=careful.pk).values().get())
    assert second_factor.secret(careful.second_seed) not in kept


def wrong(user: User) -> str:
    return "000000" if code(user) != "000000" else "111111"


def test_whoever_holds_a_link_alone_cannot_hold_up_a_browser_that_showed_a_code(
    careful: User, clock: time_machine.Traveller
) -> None:
    owner = by_link(careful)
    assert owner.post(ASK, {"code": code(careful)}).status_code == 302
    cookie = owner.cookies["known_browser"]
    assert (cookie["path"], cookie["httponly"], cookie["samesite"]) == (ASK, True, "Lax")
    owner.post(reverse("sign-out"))
    clock.shift(timedelta(minutes=1))
    for _ in range(12):
        stranger = by_link(careful)
        stranger.post(ASK, {"code": wrong(careful)})
    right = code(careful, NOW + timedelta(minutes=1))
    assert "wait ten minutes" in stranger.post(ASK, {"code": right}).text
    owner.post(reverse("sign-in-by-link"), {"sesame": sesame.utils.get_token(careful)})
    assert owner.get("/due/").status_code == 302
    assert owner.post(ASK, {"code": right}).status_code == 302
    assert owner.get("/due/").status_code == 200
    assert owner.cookies["known_browser"].value == cookie.value
    assert careful.known_browsers.count() == 1


def test_a_known_browser_guesses_no_more_than_another_and_its_cookie_opens_nothing(careful: User) -> None:
    key = second_factor.know(careful, "", NOW)
    assert key not in str(list(careful.known_browsers.values()))
    client = by_link(careful)
    client.cookies["known_browser"] = key
    assert client.get("/due/").status_code == 302
    for _ in range(10):
        assert client.post(ASK, {"code": wrong(careful)}).status_code == 422
    assert "wait ten minutes" in client.post(ASK, {"code": code(careful)}).text
    assert careful.known_browsers.get().second_wrong == 10
    assert User.objects.get(pk=careful.pk).second_wrong == 0


@pytest.mark.parametrize("why", ["made up", "another's", "too old", "from before it was ended"])
def test_a_browser_that_is_not_known_is_counted_with_the_account(
    why: str, careful: User, technician_user: User
) -> None:
    of_whom = technician_user if why == "another's" else careful
    at = NOW - timedelta(days=181) if why == "too old" else NOW
    key = "made-up" if why == "made up" else second_factor.know(of_whom, "", at)
    if why.startswith("from before"):
        second_factor.turn_off(careful)
        User.objects.filter(pk=careful.pk).update(second_since=NOW, second_seed=careful.second_seed)
    client = by_link(careful)
    client.cookies["known_browser"] = key
    client.post(ASK, {"code": wrong(careful)})
    assert User.objects.get(pk=careful.pk).second_wrong == 1
