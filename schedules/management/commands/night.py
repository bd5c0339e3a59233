"""The nightly pass of a large desk: how far it is, or its parts done here and now."""

import os
import socket
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db.models import Count, Max, Min, Q, Sum
from django.utils import timezone

from schedules import night
from schedules.models import Night, NightPart


class Command(BaseCommand):
    """``night [--work]``"""

    help = "Say how the nightly passes went; with --work, do the parts of today's that are free."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whether to lend a hand."""
        parser.add_argument("--work", action="store_true", help="do parts until none is free")

    def handle(self, *args: Any, work: bool, **options: Any) -> None:
        """Work, where asked, then tell of the last nights, the latest first."""
        if work:
            self._work()
        nights = _told()
        if not nights:
            self.stdout.write(
                "No night yet: a desk of this size plans a new day within seconds by its sweep."
            )
        for line in nights:
            self.stdout.write(line)
        for part in NightPart.objects.filter(done_at=None).exclude(trouble="").select_related("night"):
            self.stdout.write(
                f"{part.night.day} homes from {part.first_site}: {part.tries} tries; {part.trouble}"
            )

    def _work(self) -> None:
        if night.begin(timezone.now()) is None:
            return
        me = f"{socket.gethostname()}:{os.getpid()}"
        while (part := night.do_next(timezone.now, me)) is not None:
            self.stdout.write(
                f"homes {part.first_site} to {part.last_site}: {part.changed} of {part.filters} changed"
            )


def _told(most: int = 7) -> list[str]:
    """A line a night: parts done, filters looked at, plans changed, and how long it took."""
    done = Q(parts__done_at__isnull=False)
    rows = Night.objects.annotate(
        all=Count("parts"), done=Count("parts", filter=done), filters=Sum("parts__filters"),
        changed=Sum("parts__changed"), worked=Sum("parts__seconds"),
        workers=Count("parts__claimed_by", distinct=True),
        first=Min("parts__claimed_at"), last=Max("parts__done_at"),
    )  # fmt: skip
    return [_line(row) for row in rows.order_by("-day")[:most]]


def _line(row: Any) -> str:
    took = f"{(row.last - row.first).total_seconds():.0f} s" if row.first and row.last else "not begun"
    state = "finished" if row.finished_at else "open"
    return (
        f"{row.day} {state}: {row.done} of {row.all} parts in {took} ({row.worked or 0:.0f} s of work, "
        f"{row.workers} workers); {row.filters or 0} filters looked at, {row.changed or 0} plans changed"
    )
