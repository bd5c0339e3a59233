"""Django's own command, by one process at a time."""

from typing import Any

from django.core.management.commands.migrate import Command as Migrate
from django.db import connections

from servicedesk.migrating import alone


class Command(Migrate):
    """``migrate``"""

    def handle(self, *args: Any, **options: Any) -> None:
        """As ever, once nobody else does it."""
        with alone(connections[options["database"]]):
            super().handle(*args, **options)
