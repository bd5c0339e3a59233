"""A table server that answers, one that holes its table, and one that does not answer: a real server each."""

import json
import threading
from collections.abc import Iterator
from http.client import BadStatusLine, IncompleteRead, InvalidURL
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.core.cache import cache

from schedules import travel
from schedules.travel import travel_between

pytestmark = pytest.mark.django_db
PLACES = [(41.9, -87.8), (42.0, -87.9), (41.8, -87.7)]


class Tables(BaseHTTPRequestHandler):
    """Durations by the places' distance on the grid, metres ten times that; what is wrong is switched."""

    asked: list[str] = []
    answer: Any = None

    def do_GET(self) -> None:
        type(self).asked.append(self.path)
        url = urlsplit(self.path)
        places = [tuple(map(float, place.split(","))) for place in url.path.rsplit("/", 1)[1].split(";")]
        query = parse_qs(url.query)
        rows, columns = (list(map(int, query[name][0].split(";"))) for name in ("sources", "destinations"))
        told: Any = [[self.far(places[row], places[column]) for column in columns] for row in rows]
        distances = [[None if way is None else way * 10 for way in row] for row in told]
        body: Any = {"code": "Ok", "durations": told, "distances": distances}
        self.reply(self.answer or body)

    def reply(self, body: Any) -> None:
        data = json.dumps(body).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        self.wfile.write(data)

    def far(self, one: tuple[float, ...], other: tuple[float, ...]) -> float | None:
        return round(1000 * (abs(one[0] - other[0]) + abs(one[1] - other[1])), 1)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture
def server(settings: Any) -> Iterator[type[Tables]]:
    cache.clear()
    handler = type("Own", (Tables,), {"asked": [], "answer": None})
    with HTTPServer(("127.0.0.1", 0), handler) as running:
        settings.TRAVEL_URL = f"http://127.0.0.1:{running.server_port}/"
        threading.Thread(target=running.serve_forever, args=(0.01,), daemon=True).start()
        yield handler
        running.shutdown()
    cache.clear()


def test_times_and_ways_are_the_servers_and_are_asked_for_once(server: type[Tables]) -> None:
    found = travel_between(PLACES)
    assert found.reckoned == ""
    assert found.seconds == ((0, 200, 200), (200, 0, 400), (200, 400, 0))
    assert found.metres[0] == (0, 2000, 2000)
    assert "/table/v1/driving/-87.8,41.9;-87.9,42.0;-87.7,41.8?" in server.asked[0]
    assert travel_between(PLACES) == found
    assert len(server.asked) == 1


def test_many_places_are_asked_for_in_blocks(server: type[Tables], monkeypatch: pytest.MonkeyPatch) -> None:
    whole = travel_between(PLACES)
    cache.clear()
    monkeypatch.setattr(travel, "BLOCK", 2)
    assert travel_between(PLACES) == whole
    assert len(server.asked) == 1 + 4


def test_a_way_that_is_not_there_stays_none(server: type[Tables]) -> None:
    server.answer = {"code": "Ok", "durations": [[0, None], [5, 0]], "distances": [[0, None], [50, 0]]}
    assert travel_between(PLACES[:2]).seconds == ((0, None), (5, 0))


@pytest.mark.parametrize(
    "answer",
    [
        {"code": "NoTable"},
        {"code": "Ok", "durations": [[0]], "distances": [[0]]},
        {"code": "Ok", "durations": [[0, -5], [5, 0]], "distances": [[0, 1], [1, 0]]},
        {"code": "Ok"},
        ["no", "table"],
    ],
)
def test_an_answer_that_cannot_be_falls_back_and_says_why(server: type[Tables], answer: Any) -> None:
    server.answer = answer
    found = travel_between(PLACES[:2])
    assert found.reckoned
    assert found.seconds[0][1] is not None
    assert found.seconds[0][1] > 500


def test_a_silent_server_is_left_alone_for_a_minute(settings: Any) -> None:
    cache.clear()
    settings.TRAVEL_URL = "http://127.0.0.1:1"
    first = travel_between(PLACES)
    assert "refused" in first.reckoned
    settings.TRAVEL_URL = "ftp://elsewhere.example"
    assert travel_between(PLACES).reckoned == first.reckoned
    cache.clear()
    assert "neither with http" in travel_between(PLACES).reckoned
    cache.clear()


def test_without_an_address_it_is_reckoned_as_the_crow_flies(settings: Any) -> None:
    settings.TRAVEL_URL = ""
    found = travel_between(PLACES)
    assert found.reckoned == ""
    assert found.seconds[0][0] == 0


@pytest.mark.parametrize(
    "error", [IncompleteRead(b"x" * 200), BadStatusLine("no http"), InvalidURL("a blank in it")]
)
def test_a_server_that_speaks_no_http_is_fallen_back_from(
    settings: Any, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    cache.clear()
    settings.TRAVEL_URL = "http://127.0.0.1:1"

    def broken(*_args: Any, **_more: Any) -> Any:
        raise error

    monkeypatch.setattr(travel, "urlopen", broken)
    found = travel_between(PLACES)
    assert type(error).__name__ in found.reckoned
    assert found.seconds[0][1]
    cache.clear()
