"""What the desk serves for a day without signal: worker, files, the page that stands in, the clearing."""

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import reverse

from equipment.models import Desk, User
from servicedesk import phone_files
from tests.factories import TODAY, PhotographFactory, SiteFactory, VisitFactory
from tests.markup import tight

pytestmark = [pytest.mark.django_db, pytest.mark.once]
MOST_LINES = 250


def told(client: Client) -> dict[str, Any]:
    """What the worker is told of its desk."""
    found = re.search(r"self\.DESK = (\{.*\});", client.get(reverse("worker")).text)
    assert found
    return dict(json.loads(found[1]))


def test_the_worker_is_asked_for_each_time_and_governs_every_page(stranger: Client) -> None:
    response = stranger.get("/worker.js")
    assert response.status_code == 200
    assert response["Content-Type"].startswith("text/javascript")
    assert response["Cache-Control"] == "no-cache"
    assert "Set-Cookie" not in response


def test_every_file_that_the_worker_keeps_is_there(stranger: Client) -> None:
    files = told(stranger)["files"]
    assert len(files) > 10
    for file in files:
        path = file.removeprefix("/static/").split("?")[0]
        assert finders.find(path), file


def test_the_version_changes_with_any_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    before = phone_files._read()
    changed = tmp_path / "changed"
    changed.write_text("other")
    find = finders.find
    for name in ("servicedesk/desk.css", "servicedesk/phone/worker.js", "servicedesk/phone/no-signal.js"):
        monkeypatch.setattr(
            finders, "find", lambda path, name=name: str(changed) if path == name else find(path)
        )
        assert phone_files._read() != before
    monkeypatch.setattr(finders, "find", find)
    assert phone_files._read() == before


def test_the_page_without_signal_says_nothing_of_anybody(
    stranger: Client, technician: Client, technician_user: object
) -> None:
    Desk.objects.update_or_create(pk=1, defaults={"name": "Elm and Ash Air"})
    page = stranger.get(reverse("no-signal"))
    assert page.status_code == 200
    assert 'data-user=""' in page.text
    assert "Terry" not in page.text
    assert "csrfmiddlewaretoken" not in page.text


def test_a_technicians_page_brings_the_scripts_and_nobody_elses_does(
    technician: Client, manager: Client, homeowner: Client, stranger: Client
) -> None:
    start = phone_files.script("start")
    assert start in technician.get("/", follow=True).text
    for other in (manager, homeowner, stranger):
        assert start not in other.get("/", follow=True).text


@pytest.mark.parametrize(
    ("role", "others", "cleared"),
    [
        ("technician", "", '"cache", "storage"'),
        # Somebody else's entries wait on the same phone.
        ("technician", "1", '"cache"'),
        ("manager", "", '"cache"'),
        ("homeowner", "", '"cache"'),
    ],
)
def test_sign_out_tells_the_browser_what_to_forget(
    role: str, others: str, cleared: str, request: pytest.FixtureRequest
) -> None:
    client: Client = request.getfixturevalue(role)
    response = client.post(reverse("sign-out"), {"others": others})
    assert response["Clear-Site-Data"] == cleared
    assert response.status_code == 302
    assert response["Location"] == reverse("sign-in")
    assert client.get(reverse("look-up")).status_code == 302


def test_no_script_of_the_phone_is_long() -> None:
    folder = Path(str(finders.find("servicedesk/phone/store.js"))).parent
    scripts = list(folder.glob("*.js"))
    assert {path.stem for path in scripts} == {
        *phone_files.PAGE_SCRIPTS,
        *phone_files.WORKER_SCRIPTS,
        "no-signal",
    }
    assert not [path.name for path in scripts if len(path.read_text().splitlines()) > MOST_LINES]


def test_a_copy_for_the_phone_leaves_what_is_said_once_to_the_page(
    technician: Client, technician_user: User
) -> None:
    visit = VisitFactory(state="scheduled", technician=technician_user.technician, day=TODAY)
    technician.post(f"/visits/{visit.pk}/arrived/")
    address = f"/visits/{visit.pk}/"
    assert 'role="status"><li' not in tight(technician.get(address, headers={"X-Copy": "1"}).text)
    assert 'role="status"><li' in tight(technician.get(address).text)


@pytest.mark.parametrize("role", ["technician", "manager"])
def test_no_cache_keeps_a_page_of_staff(role: str, request: pytest.FixtureRequest) -> None:
    client: Client = request.getfixturevalue(role)
    for address in ("/due/", f"/sites/{SiteFactory().pk}/", "/nowhere/"):
        assert client.get(address, follow=True)["Cache-Control"] == "no-store", address


def test_what_is_no_page_of_staff_says_itself_how_long_it_is_kept(
    technician: Client, homeowner: Client, stranger: Client
) -> None:
    photograph = PhotographFactory()
    assert technician.get(f"/photographs/{photograph.pk}/")["Cache-Control"] == "private, no-cache"
    assert technician.get("/worker.js")["Cache-Control"] == "no-cache"
    for client in (homeowner, stranger):
        assert "no-store" not in client.get("/", follow=True).get("Cache-Control", "")


def test_a_page_of_staff_says_when_its_day_ends(
    technician: Client, homeowner: Client, stranger: Client
) -> None:
    with time_machine.travel(datetime(2026, 5, 12, 15, tzinfo=UTC), tick=False):
        found = re.search(r'<body[^>]* data-until="(\d+)"', technician.get("/", follow=True).text)
        assert found
        assert datetime.fromtimestamp(int(found[1]) / 1000, UTC) == datetime(2026, 5, 13, 5, tzinfo=UTC)
        for client in (homeowner, stranger):
            assert "data-until" not in client.get("/", follow=True).text
