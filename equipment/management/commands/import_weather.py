"""Read a national weather service's daily station file into a station's weather."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from equipment.ghcn import NotAStationFile, read_station_file
from equipment.models import Station
from equipment.sheets.daily import store_weather
from shared import clock


class Command(BaseCommand):
    """``import_weather FILE.csv --station NAME``"""

    help = "Read daily temperatures in a GHCN-Daily layout into the weather of a station."

    def add_arguments(self, parser: CommandParser) -> None:
        """The file and whose weather it is."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--station", required=True, help="the station's name in stations.csv")

    def handle(self, *args: Any, file: Path, station: str, **options: Any) -> None:
        """Store what is new or other than stored; say what was left out."""
        now = timezone.now()
        row = Station.objects.filter(name=station).first()
        if row is None:
            known = ", ".join(Station.objects.values_list("name", flat=True)[:20]) or "none yet"
            raise CommandError(f"no station is called “{station}”; known are: {known}")
        try:
            days = read_station_file(file, clock.latest_day(now))
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}") from None
        except NotAStationFile as error:
            raise CommandError(str(error)) from None
        changed = store_weather(row, days.means, now)
        left_out = f"{days.flagged:,} flagged by the service and {days.unusable:,} unusable values left out"
        if days.ahead:
            left_out += f", and {days.ahead:,} of days to come"
        self.stdout.write(f"{station}: {len(days.means):,} days read, {changed:,} new or changed; {left_out}")
        if days.doubt:
            self.stderr.write(f"{station}: {days.doubt}")
