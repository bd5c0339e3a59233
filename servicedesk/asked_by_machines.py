"""What machines ask beside a process is answered whatever else is down."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.urls import resolve

from servicedesk.address_names import name_of

_OF_MACHINES = {"alive", "ready"}


class AskedByMachinesMiddleware:
    """Stands before whatever asks the database for the session, the account or the desk's clock: without one
    they fail, and the page that says so would with them."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer of such an address, which is the same for everybody; all else goes on."""
        if request.method not in ("GET", "HEAD") or name_of(request) not in _OF_MACHINES:
            return self.get_response(request)
        request.resolver_match = match = resolve(request.path_info)
        answer: HttpResponse = match.func(request)
        return answer
