"""A folder of archives, one a day, thinned out: the last seven days, four weeks and twelve months."""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from pathlib import Path

from servicedesk.archive.write import write_archive

DAYS, WEEKS, MONTHS = 7, 4, 12
_HALF_LASTS = timedelta(days=1)
_NAME = re.compile(r"desk-(\d{4}-\d{2}-\d{2})\.zip\Z")


def keep(folder: Path, now: datetime) -> tuple[Path, list[Path]]:
    """Write today's archive into ``folder``, then take away those that are not kept any longer.

    Nothing is taken away before the new one is whole. Files of other names are left alone. Raises OSError
    where the folder or the disk refuses; then everything is as it was.
    """
    today = folder / f"desk-{now.date()}.zip"
    write_archive(today, now)
    _take_away_halves(folder, now)
    there = archives(folder)
    gone = [there[day] for day in sorted(set(there) - kept(there))]
    for path in gone:
        path.unlink()
    return today, gone


def _take_away_halves(folder: Path, now: datetime) -> None:
    """What a writer that was killed left behind; one that is at work still is younger."""
    for half in folder.glob(".desk-*.zip.*.part"):
        if half.stat().st_mtime < (now - _HALF_LASTS).timestamp():
            half.unlink()


def archives(folder: Path) -> dict[date, Path]:
    """The archives of a folder by their day, the oldest first; none where there is no such folder."""
    found = {}
    for path in sorted(folder.glob("desk-*.zip")):
        if match := _NAME.match(path.name):
            try:
                found[date.fromisoformat(match[1])] = path
            except ValueError:
                continue
    return found


def kept(days: Iterable[date]) -> set[date]:
    """Those of some days that stay: the last ones, and the last of each of the last weeks and months."""
    latest = sorted(days, reverse=True)
    weeks = list({day.isocalendar()[:2]: day for day in reversed(latest)}.values())
    months = list({(day.year, day.month): day for day in reversed(latest)}.values())
    return {*latest[:DAYS], *sorted(weeks)[-WEEKS:], *sorted(months)[-MONTHS:]}
