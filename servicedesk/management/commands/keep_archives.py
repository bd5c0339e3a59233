"""The daily archive: written into a folder, and the older ones thinned out."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from servicedesk.archive.keep import archives, keep


class Command(BaseCommand):
    """``keep_archives [FOLDER]``"""

    help = "Archive the desk into FOLDER (else BACKUP_DIR); keep seven days, four weeks and twelve months."

    def add_arguments(self, parser: CommandParser) -> None:
        """The folder, which must be there: a disk that is not mounted is not filled beside it."""
        parser.add_argument("folder", type=Path, nargs="?", default=None)

    def handle(self, *args: Any, folder: Path | None, **options: Any) -> None:
        """Write, thin out, and say what there is."""
        where = folder or (Path(settings.BACKUP_DIR) if settings.BACKUP_DIR else None)
        if where is None:
            raise CommandError("Say into which folder, or set BACKUP_DIR.")
        if not where.is_dir():
            raise CommandError(f"{where} is no folder; is its disk mounted?")
        try:
            path, gone = keep(where, timezone.now())
        except OSError as error:
            raise CommandError(
                f"No archive was written into {where}: {error.strerror}. The older ones are as they were."
            ) from None
        self.stdout.write(f"{path}: {path.stat().st_size:,} bytes; {len(gone)} older ones gone.")
        self.stdout.write(f"{len(archives(where))} archives are in {where}.")
