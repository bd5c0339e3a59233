"""The WSGI entry for any server."""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
application = get_wsgi_application()


def settle() -> None:
    """Load every page's modules, and let no collection of garbage go over what stays for good: each one took
    a seventh of a second, in one answer of five."""
    assert get_resolver().url_patterns  # noqa: S101
    gc.collect()
    gc.freeze()


settle()
