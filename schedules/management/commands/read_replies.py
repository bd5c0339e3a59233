"""Read answers to invitations from a mailbox file."""

import mailbox
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from schedules import replies


class Command(BaseCommand):
    """``read_replies FILE.mbox``"""

    help = "Note who accepts or declines a visit, from a mailbox file; nothing is moved by it."

    def add_arguments(self, parser: CommandParser) -> None:
        """The file."""
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        """A sentence for each answer; reading a file twice notes nothing twice."""
        try:
            said = replies.read(file, timezone.now())
        except (OSError, mailbox.Error) as error:
            raise CommandError(f"{file} cannot be read: {error}") from None
        for line in said:
            self.stdout.write(line)
