"""The second factor of staff: asked for after the link, set up, ended."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _

from equipment import second_factor
from equipment.access import signed_in
from equipment.models import Desk, User
from equipment.second_factor import TooMany, WrongCode
from schedules.cards import code_of
from servicedesk.second_factor import GIVEN
from shared.keys import new_seed

_SEED, _COOKIE = "second_seed", "known_browser"


def page(request: HttpRequest) -> HttpResponse:
    """The code, after the link; the session is a new one from then on."""
    wanted = request.POST.get("next") or request.GET.get("next", "")
    if request.method != "POST":
        return _asked(request, wanted, "")
    if why := _wrong(request, signed_in(request)):
        return _asked(request, wanted, why)
    request.session.cycle_key()
    request.session[GIVEN] = True
    there = wanted if url_has_allowed_host_and_scheme(wanted, {request.get_host()}) else "start"
    return _known(request, redirect(there))


def _asked(request: HttpRequest, wanted: str, why: str) -> HttpResponse:
    context = {"next": wanted, "error": why}
    return render(request, "servicedesk/second.html", context, status=422 if why else 200)


def set_up(request: HttpRequest) -> HttpResponse:
    """Set it up with an app, or end it; either by a code of the app."""
    user, why = signed_in(request), ""
    # Of this session alone: nobody who looked in before knows the secret that counts later.
    seed = request.session.setdefault(_SEED, new_seed())
    if request.method == "POST":
        why = _wrong(request, user, "" if second_factor.is_on(user) else seed)
        if not why:
            _turned(request, user)
            here = redirect("second-set-up")
            return here if second_factor.is_on(user) else _known(request, here)
    context = {"on": user.second_since, "error": why}
    if not user.second_since:
        address = second_factor.address(user, seed, Desk.the().name)
        context |= {"secret": second_factor.secret(seed), "picture": code_of(address), "address": address}
    return render(request, "servicedesk/second_set_up.html", context, status=422 if why else 200)


def _known(request: HttpRequest, answer: HttpResponse) -> HttpResponse:
    """The answer, with which the browser is known from now on: its codes are counted for itself."""
    cookie = second_factor.know(signed_in(request), request.COOKIES.get(_COOKIE, ""), timezone.now())
    answer.set_cookie(
        _COOKIE, cookie, max_age=second_factor.KNOWN_FOR, path=reverse("second"), httponly=True,
        secure=request.is_secure(), samesite="Lax",
    )  # fmt: skip
    return answer


def _turned(request: HttpRequest, user: User) -> None:
    request.session.pop(_SEED, None)
    if second_factor.is_on(user):
        second_factor.turn_off(user)
        messages.success(request, _("No code is asked for any more."))
        return
    request.session[GIVEN] = True
    messages.success(request, _("From now on a code of your app is asked for after the link."))


def _wrong(request: HttpRequest, user: User, seed: str = "") -> str:
    """Why the code does not do, empty where it does; with a ``seed`` it turns that one on."""
    code, now = request.POST.get("code", "")[:20], timezone.now()
    browser = request.COOKIES.get(_COOKIE, "")
    try:
        if seed:
            second_factor.turn_on(user, seed, code, now, browser)
        else:
            second_factor.use(user, code, now, browser)
    except TooMany:
        return _("Too many wrong codes: wait ten minutes.")
    except WrongCode:
        return _("That is not the code of now, or it was used already: wait for the next one.")
    return ""
