"""Answers that depend on their address alone say so to whoever keeps copies."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class SameForAllMiddleware:
    """Takes Vary off an answer that its view marked ``same_for_all``: who asks does not bear on it.

    It stands outside the session and the language, which add Vary because they looked who asks.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer without Vary where the view says so."""
        response = self.get_response(request)
        if getattr(response, "same_for_all", False):
            response.headers.pop("Vary", None)
        return response
