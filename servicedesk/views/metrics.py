"""Figures of the running desk for a program that watches it, in the Prometheus text format."""

import hmac
from collections.abc import Iterator
from datetime import datetime

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Metric, generate_latest
from prometheus_client.registry import Collector

from servicedesk.metrics.requests import COUNTED
from servicedesk.metrics.state import families


class _State(Collector):
    """How the desk stands at a moment."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def collect(self) -> Iterator[Metric]:
        return families(self.now)

    def describe(self) -> list[Metric]:
        return []  # nothing else is registered beside it whose names could clash


def page(request: HttpRequest) -> HttpResponse:
    """The figures for whoever shows METRICS_TOKEN; 404 where none is set."""
    if not settings.METRICS_TOKEN:
        raise Http404
    kind, _space, shown = request.headers.get("Authorization", "").partition(" ")
    right = hmac.compare_digest(shown.strip().encode(), settings.METRICS_TOKEN.encode())
    if kind.lower() != "bearer" or not right:
        refused = HttpResponse("The right token is needed.\n", status=401, content_type="text/plain")
        refused["WWW-Authenticate"] = "Bearer"
        return refused
    state = CollectorRegistry()
    state.register(_State(timezone.now()))
    answer = HttpResponse(generate_latest(COUNTED) + generate_latest(state), content_type=CONTENT_TYPE_LATEST)
    answer["Cache-Control"] = "no-store"
    return answer
