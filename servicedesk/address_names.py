"""By which name an address is known."""

from django.http import HttpRequest
from django.urls import Resolver404, resolve


def name_of(request: HttpRequest) -> str:
    """The name, before anything of the request is read; empty where there is none."""
    try:
        return resolve(request.path_info).url_name or ""
    except Resolver404:
        return ""


def route_of(request: HttpRequest) -> str:
    """The name of the address that answered, never what stands in it."""
    match = request.resolver_match
    if match is None:
        return "none"
    return "admin" if "admin" in match.app_names else (match.url_name or "none")
