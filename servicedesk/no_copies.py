"""Pages made for staff are copied by no cache: what opens a door must not outlive its day in one."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from servicedesk.access import STAFF, who


class NoCopiesMiddleware:
    """Puts ``Cache-Control: no-store`` on every page that somebody signed in as staff is given.

    What is no page (photographs, feeds, sheets to download) says itself how long it may be kept.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer; a page with the word for caches."""
        response = self.get_response(request)
        page = response.get("Content-Type", "").startswith("text/html")
        if page and who(getattr(request, "user", None)) & STAFF:
            response["Cache-Control"] = "no-store"
        return response
