"""What the health check of a container asks."""

import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from servicedesk.is_ready import answer
from tests.servers import free_port

pytestmark = pytest.mark.once


class _Lacking(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200 if self.server.server_port in READY_PORTS else 503)
        self.end_headers()
        self.wfile.write(b"Redis does not answer." if self.path == "/ready/" else b"elsewhere")

    def log_message(self, *args: object) -> None:
        pass


READY_PORTS: set[int] = set()


@pytest.fixture
def port() -> Iterator[int]:
    with HTTPServer(("127.0.0.1", 0), _Lacking) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        yield server.server_port
        server.shutdown()
        thread.join()


def test_it_says_what_the_desk_says_and_whether_that_is_yes(port: int) -> None:
    assert answer(str(port)) == (False, "Redis does not answer.")
    READY_PORTS.add(port)
    assert answer(str(port))[0]


def test_nobody_there_is_no_and_the_program_ends_so() -> None:
    port = str(free_port())
    ready, said = answer(port)
    assert not ready
    assert port in said
    ended = subprocess.run(
        [sys.executable, "-m", "servicedesk.is_ready"], env={"PORT": port}, capture_output=True, text=True
    )
    assert ended.returncode == 1
    assert "Traceback" not in ended.stderr
    assert ended.stdout.startswith("Nothing answers")
