"""The server with a page and a task that take their time, to be asked to stop in the middle of both."""

import sys
import time
from collections.abc import Callable
from typing import Any

from servicedesk import serve

TAKES_S = 1.0
the_desks = serve.application


@serve.celery.task(name="slow")
def slow() -> None:
    print("task begun", flush=True)
    time.sleep(TAKES_S)
    print("task ended", flush=True)


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
    if environ["PATH_INFO"] != "/slow/":
        return the_desks(environ, start_response)
    print("page begun", flush=True)
    slow.apply_async()
    time.sleep(TAKES_S)
    start_response("200 OK", [("Content-Type", "text/plain")])
    return [b"page ended"]


if __name__ == "__main__":
    # Neither of the two needs a database.
    serve.application, serve.prepare, serve.call_command = application, lambda _demo: None, lambda _name: None
    sys.exit(serve.main([]))
