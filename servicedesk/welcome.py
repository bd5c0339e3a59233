"""What the desk says on its first lines."""

from django.conf import settings


def lines() -> list[str]:
    """The lines to print once the desk listens."""
    return [f"The desk is open at {settings.SITE_URL}"]
