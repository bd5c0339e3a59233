"""What is wrong with a set-up, in plain words."""

import sys
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from servicedesk.doctor.around import of_surroundings
from servicedesk.doctor.desk import of_desk
from servicedesk.doctor.findings import How
from servicedesk.doctor.machine import of_machine


class Command(BaseCommand):
    """``doctor``"""

    help = "Look at machine, settings, database, Redis, mail, backups; exit 1 where something is wrong."
    # It is asked just when these do not hold.
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def handle(self, *args: Any, **options: Any) -> None:
        """A line a part, then the sum of it."""
        now, found = timezone.now(), []
        for finding in (one for of in (of_machine, of_desk, of_surroundings) for one in of(now)):
            self.stdout.write(str(finding))
            found.append(finding.how)
        bad, worth = found.count(How.WRONG), found.count(How.LOOK)
        if bad:
            self.stdout.write(f"{_things(bad)} wrong; {worth or 'nothing'} more to look at.")
            sys.exit(1)
        self.stdout.write("Nothing is wrong." + (f" {_things(worth)} worth a look." if worth else ""))


def _things(count: int) -> str:
    return "1 thing is" if count == 1 else f"{count} things are"
