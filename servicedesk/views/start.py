"""Signing in and out, and where one lands."""

from datetime import date

import sesame.utils
from django.contrib import messages
from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.http import url_has_allowed_host_and_scheme

from equipment.access import signed_in
from equipment.languages import language_of_user
from equipment.models import User
from schedules import due
from schedules.models import Technician
from schedules.sign_in_letters import write_link
from servicedesk.access import Who, who


def start(request: HttpRequest) -> HttpResponse:
    """Everybody's first page: the due list, the day, the home, or the way in."""
    visitor = who(request.user)
    if visitor is Who.MANAGER:
        return redirect("due-list")
    if visitor is Who.HOMEOWNER:
        return redirect("home")
    if visitor is Who.TECHNICIAN:
        technician = Technician.objects.filter(user=request.user.pk).first()
        if technician is None:
            return redirect("look-up")
        return redirect("day", technician.pk, _today().isoformat())
    return redirect("sign-in")


def _today() -> date:
    return due.today(timezone.now())


def sign_in(request: HttpRequest) -> HttpResponse:
    """Ask for a link by mail. The answer is the same whether the address is known or not."""
    asked = request.method == "POST"
    if asked:
        write_link(request.POST.get("email", "").replace("\0", "").strip()[:254], timezone.now())
    return render(request, "servicedesk/sign_in.html", {"asked": asked})


def sign_in_by_link(request: HttpRequest) -> HttpResponse:
    """GET shows a button, for scanners fetch links; POST signs in."""
    token = request.POST.get("sesame") or request.GET.get("sesame") or ""
    user = sesame.utils.get_user(token, update_last_login=False) if token else None
    if user is None:
        return render(request, "servicedesk/sign_in.html", {"spent": True}, status=410)
    if request.method != "POST":
        named = {"token": token, "name": user.get_full_name() or user}
        with translation.override(language_of_user(user)):
            return render(request, "servicedesk/sign_in_link.html", named)
    login(request, user, backend="sesame.backends.ModelBackend")
    wanted = request.POST.get("next", "")
    if url_has_allowed_host_and_scheme(wanted, {request.get_host()}):
        return redirect(wanted)
    return redirect("start")


def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session; a technician's browser is told to forget what it kept of the day.

    Where entries of somebody else wait on the same phone (``others``) those stay, locked to them.
    """
    technician = who(request.user) is Who.TECHNICIAN
    # What was said to this visitor is not for the next.
    list(messages.get_messages(request))
    logout(request)
    response = redirect("sign-in")
    stays = not technician or bool(request.POST.get("others"))
    response["Clear-Site-Data"] = '"cache"' if stays else '"cache", "storage"'
    return response


def choose_units(request: HttpRequest) -> HttpResponse:
    """Show figures in the units asked for from now on, on pages, in letters and in forms."""
    user, wanted = signed_in(request), request.POST.get("units", "")
    if wanted in ("ip", "si"):
        User.objects.filter(pk=user.pk).update(units=wanted)
    back = request.POST.get("next", "")
    return redirect(back if url_has_allowed_host_and_scheme(back, {request.get_host()}) else "start")
