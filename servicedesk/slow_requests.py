"""A line of the log for each request that took long."""

import logging
from collections.abc import Callable
from time import perf_counter

from django.http import HttpRequest, HttpResponse

from servicedesk.address_names import route_of

LONG_S = 1.0
log = logging.getLogger(__name__)


class SlowRequestsMiddleware:
    """Stands right within whatever names the request, so that its time is nearly all of it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer; the time is that until it began."""
        began = perf_counter()
        answer = self.get_response(request)
        seconds = perf_counter() - began
        if seconds > LONG_S:
            told = {
                "route": route_of(request),
                "method": request.method,
                "status": answer.status_code,
                "seconds": round(seconds, 3),
            }
            log.warning(
                "slow request: %(method)s %(route)s %(status)s %(seconds).1f s",
                told,
                extra={"fields": told, "request": request},
            )
        return answer
