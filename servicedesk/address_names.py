"""By which name an address is known, before anything of the request is read."""

from django.http import HttpRequest
from django.urls import Resolver404, resolve


def name_of(request: HttpRequest) -> str:
    """The name; empty where there is none."""
    try:
        return resolve(request.path_info).url_name or ""
    except Resolver404:
        return ""
