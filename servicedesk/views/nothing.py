"""What an address says that leads nowhere."""

from django.http import HttpRequest, HttpResponse
from django.views.defaults import page_not_found

from servicedesk.problems import problem


def nothing_here(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A page for people; programs are told as everywhere else under /api/."""
    if request.path.startswith("/api/"):
        return problem(404, "There is nothing at this address", "/api/v1/openapi.json names all there are.")
    return page_not_found(request, exception)
