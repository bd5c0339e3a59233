"""Every page is in one language: the household's own, and the desk's for its own people."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from equipment.languages import language_of_user
from equipment.models import User


class PageLanguageMiddleware:
    """Speaks the visitor's language for the length of a request; a stranger's by what the browser asks for.

    A page behind a link that was sent to somebody speaks theirs (``equipment.languages``).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer in one language."""
        user = request.user
        if isinstance(user, User):
            spoken = language_of_user(user)
        else:
            spoken = translation.get_language_from_request(request)
        with translation.override(spoken):
            request.LANGUAGE_CODE = spoken
            response = self.get_response(request)
        if not isinstance(user, User):
            patch_vary_headers(response, ("Accept-Language",))
        return response
