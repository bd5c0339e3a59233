"""Print the desk's address and the ways into its demo."""

from typing import Any

from django.core.management.base import BaseCommand

from servicedesk.welcome import lines


class Command(BaseCommand):
    """``welcome``"""

    help = "Print the address and, where the demo is loaded, a sign-in link for each role."

    def handle(self, *args: Any, **options: Any) -> None:
        """One line after the other."""
        self.stdout.write("\n".join(lines()))
