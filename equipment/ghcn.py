"""Daily station files of the national weather services (GHCN-Daily, NOAA) as daily means.

Two layouts are in use: a line a station, day and element, without a header or with one that begins with
ID and DATE (``by_year`` and ``by_station``: id, yyyymmdd, element, value, measurement, quality and source
flags, time), and a table with a header whose columns are elements (``access``: STATION, DATE, TMAX, TMIN,
TAVG and their ``_ATTRIBUTES``). A file may be packed by gzip, as the archive keeps some. Values are tenths
of a degree Celsius. A value with a quality flag failed a check of the service and is left out. Layouts as
in the archive's own readme, from memory.
"""

import csv
import gzip
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TextIO

_ELEMENTS = ("TAVG", "TMAX", "TMIN")
_COLDEST_C, _WARMEST_C = -90.0, 60.0
# Nowhere was it hotter in degrees Fahrenheit (Death Valley, 1913, from memory); a year whose hottest day has
# no more tenths of a degree Celsius, 13.4 of them, is one of the ice caps.
_HOTTEST_F = 134.0
_A_YEAR = 300


class NotAStationFile(ValueError):
    """The file has neither layout, or other units; the message says what was found."""


@dataclass
class StationDays:
    """Daily mean temperatures in degrees Celsius by day, how many values were left out, and how many of days
    to come; ``doubt`` is what speaks against the file's units, without proof."""

    means: dict[date, float] = field(default_factory=dict)
    flagged: int = 0
    unusable: int = 0
    ahead: int = 0
    doubt: str = ""


def read_station_file(path: Path, last: date) -> StationDays:
    """Daily means of the one station in ``path``: the day's average where there is one, else (max + min) / 2;
    nothing of days after ``last``.

    (max + min) / 2 is not the mean of 24 hours; degree days from either differ by some per cent. Raises
    NotAStationFile for another layout, other units and for several stations in one file.
    """
    days = StationDays()
    values: dict[date, dict[str, float]] = {}
    highest = -math.inf
    for day, element, tenths in _values(path, days):
        if math.isfinite(tenths) and tenths % 1:
            raise NotAStationFile(
                f"{path.name} has {tenths:g} for {element} on {day}; a station file counts whole tenths of a "
                "degree Celsius. A table in degrees goes into weather.csv, in degrees Fahrenheit"
            )
        highest = max(highest, tenths) if math.isfinite(tenths) else highest
        celsius = tenths / 10
        if day > last:
            days.ahead += 1
        elif _COLDEST_C <= celsius <= _WARMEST_C:
            values.setdefault(day, {})[element] = celsius
        else:
            days.unusable += 1
    days.doubt = _doubt(path, len(values), highest)
    for day, found in sorted(values.items()):
        if "TAVG" in found:
            days.means[day] = found["TAVG"]
        elif "TMAX" in found and "TMIN" in found:
            days.means[day] = (found["TMAX"] + found["TMIN"]) / 2
    return days


def _doubt(path: Path, days: int, highest: float) -> str:
    """Whether the values may be whole degrees Fahrenheit; NotAStationFile where a year of them is."""
    if days == 0 or highest > _HOTTEST_F:
        return ""
    told = f"no value is above {highest:g}, which as tenths of a degree Celsius would be {highest / 10:.1f} C"
    if days >= _A_YEAR:
        raise NotAStationFile(
            f"{path.name}: in {days} days {told}. These look like degrees Fahrenheit; such a table goes into "
            "weather.csv"
        )
    return f"{told}: if these are degrees Fahrenheit, they belong in weather.csv"


def _values(path: Path, days: StationDays) -> Iterator[tuple[date, str, float]]:
    with _opened(path) as file:
        reader = csv.reader(file)
        first = next(reader, [])
        upper = [cell.strip().upper() for cell in first]
        if upper[:3] == ["ID", "DATE", "ELEMENT"]:
            first = next(reader, first)
        if "DATE" in upper and "STATION" in upper:
            yield from _table(upper, reader, days)
        elif len(first) >= 7 and len(first[1]) == 8 and first[1].isdigit():
            yield from _long(first, reader, days)
        else:
            raise NotAStationFile(
                f"{path.name} is not a daily station file: its first line is {','.join(first)[:80]}"
            )


def _opened(path: Path) -> TextIO:
    if path.suffix == ".gz":
        return gzip.open(path, "rt", newline="", encoding="utf-8-sig", errors="replace")
    return path.open(newline="", encoding="utf-8-sig", errors="replace")


def _long(
    first: list[str], reader: Iterator[list[str]], days: StationDays
) -> Iterator[tuple[date, str, float]]:
    station = first[0]
    for row in (first, *reader):
        if len(row) < 7:
            continue
        if row[0] != station:
            raise NotAStationFile(f"the file holds several stations, {station} and {row[0]}")
        if row[2] in _ELEMENTS:
            if row[5].strip():
                days.flagged += 1
            else:
                yield from _one(row[1], row[2], row[3], days)


def _table(
    header: list[str], reader: Iterator[list[str]], days: StationDays
) -> Iterator[tuple[date, str, float]]:
    place = {name: column for column, name in enumerate(header)}
    station = ""
    for row in reader:
        if len(row) < len(header):
            continue
        station = station or row[place["STATION"]]
        if row[place["STATION"]] != station:
            raise NotAStationFile(f"the file holds several stations, {station} and {row[place['STATION']]}")
        for element in _ELEMENTS:
            if element not in place or not row[place[element]].strip():
                continue
            flags = row[place[f"{element}_ATTRIBUTES"]].split(",") if f"{element}_ATTRIBUTES" in place else []
            if len(flags) > 1 and flags[1].strip():
                days.flagged += 1
            else:
                yield from _one(row[place["DATE"]].replace("-", ""), element, row[place[element]], days)


def _one(day: str, element: str, value: str, days: StationDays) -> Iterator[tuple[date, str, float]]:
    try:
        yield date(int(day[:4]), int(day[4:6]), int(day[6:8])), element, float(value)
    except ValueError:
        days.unusable += 1
