"""A desk of one's own is opened by one command, and the demo never comes into it."""

from io import StringIO
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from pytest_django.fixtures import Settings

from equipment.models import Desk, Site, User
from servicedesk import serve

pytestmark = pytest.mark.django_db
ASKED = {
    "name": "Elm and Ash Air",
    "zone": "America/Denver",
    "manager": "Ada Reed",
    "email": "ada@elm.example",
}


def opened(**other: str) -> str:
    out = StringIO()
    call_command("open_desk", **(ASKED | other), stdout=out)
    return out.getvalue()


def test_the_printed_link_signs_the_manager_in(client: Client) -> None:
    said = opened()
    desk, user = Desk.the(), User.objects.get()
    assert (desk.name, desk.timezone) == ("Elm and Ash Air", "America/Denver")
    assert (user.role, user.get_full_name(), user.has_usable_password()) == ("manager", "Ada Reed", False)
    link = urlsplit(said.splitlines()[-1])
    client.post(link.path, {"sesame": link.query.removeprefix("sesame=")})
    assert client.get("/due/").status_code == 200


def test_asked_again_it_puts_right_and_makes_no_second_account() -> None:
    opened()
    opened(manager="Ada Lorne", zone="America/Boise")
    assert User.objects.get().get_full_name() == "Ada Lorne"
    assert Desk.the().timezone == "America/Boise"


@pytest.mark.parametrize("wrong", [{"zone": "Teal County"}, {"email": "ada"}])
def test_what_is_none_is_refused_in_plain_words_and_nothing_is_stored(wrong: dict[str, str]) -> None:
    with pytest.raises(CommandError, match=next(iter(wrong.values()))):
        opened(**wrong)
    assert not User.objects.exists()
    assert Desk.the().name != ASKED["name"]


@pytest.mark.parametrize("production", [True, False])
def test_a_desk_in_production_never_gets_the_demo(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, production: bool, tmp_path: Path
) -> None:
    """The demo's accounts open by links that stand in the log."""
    settings.PRODUCTION, settings.VAR_DIR = production, tmp_path
    called: list[str] = []
    monkeypatch.setattr(serve, "call_command", lambda name, *args, **more: called.append(name))
    monkeypatch.setattr(serve, "at_start", lambda: None)
    monkeypatch.setattr(serve.connections, "close_all", lambda: None)
    serve.prepare(with_demo=True)
    assert ("load_demo" in called) is not production
    assert not Site.objects.exists()
