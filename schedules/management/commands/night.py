"""The nightly pass of a large desk: how far it is, or its parts done here and now."""

import os
import socket
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db.models import Count, Max, Min, Q, Sum
from django.utils import timezone

from schedules import due, night
from schedules.models import Night


class Command(BaseCommand):
    """``night [--work] [--again]``"""

    help = "Say how the nightly passes went; with --work, do the parts of today's that are free."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whether to lend a hand."""
        parser.add_argument("--work", action="store_true", help="do parts until none is free")
        parser.add_argument("--again", action="store_true", help="try again what was given up")

    def handle(self, *args: Any, work: bool, again: bool, **options: Any) -> None:
        """Work, where asked, then tell of the last nights, the latest first."""
        if again:
            self.stdout.write(f"{night.give_back(timezone.now())} parts are free again.")
        if work:
            self._work()
        for line in _told() or [_none_yet()]:
            self.stdout.write(line)
        for part in night.in_trouble().select_related("night"):
            self.stdout.write(
                f"{part.night.day} homes from {part.first_site}: {part.tries} tries; "
                f"{part.trouble or f'{part.claimed_by} was lost at it each time, and could not say why'}"
            )

    def _work(self) -> None:
        if night.begin(timezone.now()) is None:
            return
        me = f"{socket.gethostname()}:{os.getpid()}"
        while (said := self._next(me)) is not None:
            self.stdout.write(said)

    def _next(self, me: str) -> str | None:
        """What came of the next part; one that goes wrong holds up no other, a database that is gone all."""
        try:
            part = night.do_next(timezone.now, me)
        except Exception as error:  # noted with the part, which is given up after some tries
            return f"a part went wrong ({type(error).__name__}); {night.in_trouble().count()} are in trouble"
        if part is None:
            return None
        return f"homes {part.first_site} to {part.last_site}: {part.changed} of {part.filters} dates moved"


def _none_yet() -> str:
    if due.is_large():
        return "No night yet: the clock begins one within a minute, or --work does."
    return "No night yet: a desk of this size plans a new day within seconds by its sweep."


def _told(most: int = 7) -> list[str]:
    """A line a night: parts done, filters looked at, dates that moved, and how long it took."""
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
        f"{row.workers} workers); {row.filters or 0} filters looked at, {row.changed or 0} dates moved"
    )
