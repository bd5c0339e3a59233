"""Whoever set up a second factor gets no further than its page before the code is there."""

from collections.abc import Callable
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse

from equipment import second_factor
from equipment.models import User
from servicedesk.address_names import name_of
from servicedesk.bearer import PLACE

GIVEN = "second_given"
# What whoever has not shown a code yet may ask for.
_OPEN = {"second", "sign-out", "sign-in", "sign-in-by-link", "alive", "ready", "worker", "no-signal"}


class SecondFactorMiddleware:
    """Keys of programs stand by themselves: they were made by somebody who had shown a code."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, or the way to the page that asks for the code."""
        if request.path.startswith(PLACE) or not lacks_code(request) or name_of(request) in _OPEN:
            return self.get_response(request)
        wanted = request.get_full_path() if request.method == "GET" else ""
        return redirect(f"{reverse('second')}?{urlencode({'next': wanted})}")


def lacks_code(request: HttpRequest) -> bool:
    """Whether the account of this session wants a code that was not shown in it."""
    user = request.user
    return isinstance(user, User) and second_factor.is_on(user) and not request.session.get(GIVEN)
