"""How many requests of each page were answered, how, and how long that took; of this process alone."""

import time
from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpRequest, HttpResponseBase
from prometheus_client import CollectorRegistry, Counter, Histogram, disable_created_metrics

from servicedesk.address_names import route_of

# A line more for each, which nobody reads.
disable_created_metrics()  # type: ignore[no-untyped-call]
COUNTED = CollectorRegistry()
_REQUESTS = Counter(
    "desk_requests",
    "Requests answered, by the name of the address.",
    ["route", "method", "status"],
    registry=COUNTED,
)
_SECONDS = Histogram(
    "desk_request_seconds",
    "Seconds until the answer began.",
    ["route", "method"],
    buckets=(0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0),
    registry=COUNTED,
)
# Whoever asks may write any word there; each would be a line of its own for ever.
_METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


class MetricsMiddleware:
    """Counts and times; left out where nobody reads it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        if not settings.METRICS_TOKEN:
            raise MiddlewareNotUsed
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, counted."""
        began = time.perf_counter()
        answer = self.get_response(request)
        route = route_of(request)
        method = request.method if request.method in _METHODS else "other"
        _SECONDS.labels(route, method).observe(time.perf_counter() - began)
        _REQUESTS.labels(route, method, answer.status_code).inc()
        return answer
