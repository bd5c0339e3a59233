"""The whole record as bytes, and a desk made empty."""

from pathlib import Path
from typing import Any

from equipment.models import (
    AirDay,
    Customer,
    FilterChange,
    FilterSlot,
    Media,
    MediaPoint,
    Person,
    Reading,
    RuntimeDay,
    Site,
    SiteRole,
    Station,
    System,
    WeatherDay,
)
from equipment.sheets.exporter import export_sheets
from equipment.sheets.importer import import_sheets
from tests.factories import NOW

# None before what refers to it.
MODELS: list[Any] = [
    FilterChange, Reading, RuntimeDay, FilterSlot, System, SiteRole, Person, Site, Customer, MediaPoint,
    Media, WeatherDay, AirDay, Station,
]  # fmt: skip


def exported(directory: Path) -> dict[str, bytes]:
    directory.mkdir(exist_ok=True)
    export_sheets(directory)
    return {path.name: path.read_bytes() for path in sorted(directory.iterdir())}


def empty() -> None:
    for model in MODELS:
        model.objects.all().delete()


def brought_back(directory: Path) -> dict[str, bytes]:
    """What an empty desk exports once it read ``directory``."""
    empty()
    report = import_sheets(directory, NOW)
    assert [str(fault) for fault in report.faults] == []
    return exported(directory.with_name(f"{directory.name}-again"))
