"""Whole addresses, for letters, cards and calendars."""

from urllib.parse import urlsplit

from django.conf import settings
from django.urls import reverse


def absolute(name: str, *args: object, query: str = "") -> str:
    """The whole address of a named page."""
    return f"{settings.SITE_URL}{reverse(name, args=args)}{query}"


def host() -> str:
    """The desk's host name, for message ids and calendar UIDs."""
    return urlsplit(settings.SITE_URL).hostname or "localhost"
