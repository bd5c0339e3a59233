"""Pages show the desk's own time."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from equipment.models import Desk


class LocalTimeMiddleware:
    """Activates the desk's zone for the length of a request."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer in the desk's zone."""
        with timezone.override(Desk.the().zone):
            return self.get_response(request)
