"""What the desk says on its first lines."""

from django.conf import settings

from equipment.models import User
from schedules.emails import sign_in_url
from servicedesk import demo

_ROLES = (
    (demo.MANAGER, "To look around as the service manager"),
    (demo.TECHNICIAN, "To look around as a technician"),
    (demo.HOMEOWNER, "To look around as somebody with three filters at home"),
)


def lines() -> list[str]:
    """The lines to print once the desk listens: its address, and ways into the demo where it is loaded."""
    said = [f"The desk is open at {settings.SITE_URL}"]
    accounts = {user.username: user for user in User.objects.filter(username__startswith="demo-")}
    ways = [f"{words}: {sign_in_url(accounts[name])}" for name, words in _ROLES if name in accounts]
    if ways:
        said += ["This desk shows an invented contractor. Each link below signs you in for a day:", *ways]
    return said
