"""The desk's addresses and the bare page; nothing but ``tests.load`` serves them."""

from django.http import HttpRequest, HttpResponse
from django.urls import path

from servicedesk.access import EVERYBODY, TABLE
from servicedesk.urls import urlpatterns as desk

TABLE["bare"] = {"GET": EVERYBODY}


def bare(_request: HttpRequest) -> HttpResponse:
    """Two letters, behind the same middleware as all other pages."""
    return HttpResponse("ok", content_type="text/plain")


urlpatterns = [path("bare/", bare, name="bare"), *desk]
