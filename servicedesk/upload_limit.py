"""A request with more bytes than its address takes is refused before they are read."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.utils.translation import gettext as _

from servicedesk.address_names import name_of
from servicedesk.problems import problem

# name of the address: bytes of the whole request. One photograph and its form; a visit with one a filter.
LARGEST = {"photo-add": 13_000_000, "visit-complete": 100_000_000, "api-photographs": 13_000_000}


class UploadLimitMiddleware:
    """Stands before whatever reads a form, such as the check of its token.

    Files lie outside of DATA_UPLOAD_MAX_MEMORY_SIZE, and those above FILE_UPLOAD_MAX_MEMORY_SIZE go to the
    disk. A request that does not tell its length is read as one without a body.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """413 for what is too large, as JSON where a program asks."""
        told = request.META.get("CONTENT_LENGTH") or "0"
        length = int(told) if told.isascii() and told.isdigit() else 0
        if length <= min(LARGEST.values()):
            return self.get_response(request)
        name = name_of(request)
        largest = LARGEST.get(name)
        if largest is None or length <= largest:
            return self.get_response(request)
        said = _("That is more than the %(most)d MB that are taken at once: make the pictures smaller.") % {
            "most": largest // 1_000_000
        }
        if name == "api-photographs":
            return problem(413, "That is more than is taken at once", said)
        if name == "photo-add":
            return JsonResponse({"id": "", "state": "refused", "said": said}, status=413)
        return HttpResponse(said, status=413, content_type="text/plain; charset=utf-8")
