"""A directory of sheets into the record: all of it, or nothing."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from django.db import transaction
from django.db.models import Q

from equipment.models import Desk, FilterSlot, Station
from equipment.sheets.air import AIR, load_air
from equipment.sheets.catalogue import MEDIA, MEDIA_POINTS, STATIONS, load_media, load_points, load_stations
from equipment.sheets.columns import Column
from equipment.sheets.context import Import, batches
from equipment.sheets.daily import RUNTIME, WEATHER, load_runtime, load_weather
from equipment.sheets.events import CHANGES, READINGS, load_changes, load_readings
from equipment.sheets.faults import Report
from equipment.sheets.installed import INSTALLED, load_installed
from equipment.sheets.table import Sheet

Loader = Callable[[Sheet, Import], None]

# The order matters: a sheet refers only to those above it.
SHEETS: tuple[tuple[str, tuple[Column, ...], Loader], ...] = (
    ("media.csv", MEDIA, load_media),
    ("media_points.csv", MEDIA_POINTS, load_points),
    ("stations.csv", STATIONS, load_stations),
    ("weather.csv", WEATHER, load_weather),
    ("air.csv", AIR, load_air),
    ("installed.csv", INSTALLED, load_installed),
    ("runtime.csv", RUNTIME, load_runtime),
    ("readings.csv", READINGS, load_readings),
    ("changes.csv", CHANGES, load_changes),
)


# What people keep tables in: such a file in the directory was perhaps meant.
_TABLES = {".csv", ".tsv", ".txt", ".xls", ".xlsx", ".ods"}


class NoSheets(ValueError):
    """The directory holds none of the known sheets."""


def import_sheets(
    directory: Path,
    now: datetime,
    *,
    keep_good: bool = False,
    progress: Callable[[str, int], None] = lambda sheet, rows: None,
    agreed: Callable[[Report], bool] = lambda report: True,
) -> Report:
    """Read whichever of the known sheets ``directory`` holds, in their order.

    One transaction. With a fault anywhere nothing is stored, unless ``keep_good``: then the faulty
    rows alone are left out. Nor is anything where ``agreed`` says no to the report of what would be stored.
    The report lists every fault. Raises NoSheets when there is nothing to read.
    """
    report = Report()
    present = [entry for entry in SHEETS if (directory / entry[0]).is_file()]
    if not present:
        raise NoSheets(f"{directory} holds none of " + ", ".join(entry[0] for entry in SHEETS))
    known = {entry[0] for entry in SHEETS}
    others = sorted(
        path.name for path in directory.iterdir() if path.suffix.lower() in _TABLES and path.name not in known
    )
    report.remarks.extend(f"{name}: not a sheet known here, left unread" for name in others)
    run = Import(now, report, Desk.the().timezone, progress)
    with transaction.atomic():
        for name, columns, load in present:
            _load_agreeing(Sheet(directory / name, columns, report), load, run)
        place = {entry[0]: number for number, entry in enumerate(SHEETS)}
        for told in (report.faults, report.tally.differences):
            told.sort(key=lambda one: (place[one.sheet], one.line))
        report.stored = (keep_good or not report.faults) and agreed(report)
        if report.stored:
            stamp(run)
        else:
            transaction.set_rollback(True)
    return report


def preview_sheets(directory: Path, now: datetime) -> Report:
    """What an import of ``directory`` would do, with nothing stored. Raises NoSheets."""
    return import_sheets(directory, now, agreed=lambda report: False)


class _Contradicted(Exception):
    """The first reading of a sheet found rows that contradict each other."""


def _load_agreeing(sheet: Sheet, load: Loader, run: Import) -> None:
    """Load a sheet; where its rows contradict each other, undo that and load it without any of them."""
    before = run.so_far()
    try:
        with transaction.atomic():
            load(sheet, run)
            if sheet.dispute:
                raise _Contradicted
    except _Contradicted:
        run.back_to(before)
        load(sheet, run)


def stamp(run: Import) -> None:
    """Mark the slots and stations whose facts this run changed, for planning to take up."""
    touched = FilterSlot.objects.none()
    if run.media:
        media = Q(first_media__in=run.media) | Q(changes__media__in=run.media)
        touched = FilterSlot.objects.filter(media)
        run.slots |= set(touched.values_list("pk", flat=True))
    for some in batches(sorted(run.systems), 500):
        run.slots |= set(FilterSlot.objects.filter(system__in=some).values_list("pk", flat=True))
    for some in batches(sorted(run.slots), 500):
        FilterSlot.objects.filter(pk__in=some).update(facts_changed_at=run.now)
    for some in batches(sorted(run.stations), 500):
        Station.objects.filter(pk__in=some).update(weather_changed_at=run.now)
