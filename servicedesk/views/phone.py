"""The service worker, and the page that it shows where there is no signal."""

import json

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from servicedesk.phone_files import WORKER_SCRIPTS, kept_files, script, version


def worker(request: HttpRequest) -> HttpResponse:
    """The worker's script. Its bytes change with any of the files that it keeps: browsers take it anew."""
    told = {
        "version": version(),
        "files": kept_files(),
        "noSignal": reverse("no-signal"),
        "signOut": reverse("sign-out"),
    }
    scripts = json.dumps([script(name) for name in WORKER_SCRIPTS])
    text = f"self.DESK = {json.dumps(told)};\nimportScripts(...{scripts});\n"
    response = HttpResponse(text, content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    return response


def no_signal(request: HttpRequest) -> HttpResponse:
    """What the phone shows in place of a page that it does not have; the same for everybody who is nobody."""
    return render(request, "servicedesk/no_signal.html")
