"""Each page reads the desk's own rows once."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from shared.one_row import held


class RowsOfRequestMiddleware:
    """Holds the tables of one row for the length of a request: a page asked for them up to fifteen times."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer with each of those rows as it was when it was first asked for, or last written here."""
        with held():
            return self.get_response(request)
