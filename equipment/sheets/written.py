"""Stored values as cells that the import reads as the same: each function gives "" for what is unknown."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from equipment.sheets.columns import Parser
from equipment.sheets.faults import Refused
from shared import clock, units
from shared.cells import harmless
from shared.sizes import NotASize, parse_size

Triple = tuple[float, float, float]


def text(value: str) -> str:
    """A text that no spreadsheet runs, without blanks at its ends, which the import does not keep."""
    return harmless(value.replace("\x00", "").strip())


def taken(cell: str, parse: Parser) -> str:
    """The cell, or "" where the import would refuse it."""
    try:
        parse(cell)
    except Refused:
        return ""
    return cell


def number(value: float | None) -> str:
    """A bare number."""
    return "" if value is None else units.plain(value)


def cfm(value: float | None) -> str:
    """m3/s as cfm."""
    return _in(value, units.cfm, lambda flow: flow / units.M3S_PER_CFM)


def inwc(value: float | None) -> str:
    """Pa as in. w.c."""
    return _in(value, units.inwc, lambda pressure: pressure / units.PA_PER_INWC)


def tons(value: float | None) -> str:
    """W as tons of refrigeration."""
    return _in(value, units.tons, lambda power: power / units.W_PER_TON)


def grams(value: float | None) -> str:
    """kg as g."""
    return _in(value, lambda grams: grams / 1000, lambda kilograms: kilograms * 1000)


def fahrenheit(value: float | None) -> str:
    """Degrees Celsius as degrees Fahrenheit."""
    return _in(value, units.celsius, units.fahrenheit)


def _in(value: float | None, to_si: Callable[[float], float], from_si: Callable[[float], float]) -> str:
    return "" if value is None else units.written(value, to_si, from_si)


def table(pairs: Iterable[Iterable[float]]) -> str:
    """A blower table, pairs of m3/s and Pa, as ``cfm:inwc;cfm:inwc``."""
    return ";".join(f"{cfm(flow)}:{inwc(static)}" for flow, static in pairs)


def whole(value: int | None) -> str:
    """A whole number."""
    return "" if value is None else str(value)


def yes_no(value: bool | None) -> str:
    """1 or 0."""
    return "" if value is None else str(int(value))


def day(value: date | None) -> str:
    """An ISO date."""
    return "" if value is None else value.isoformat()


def instant(at: datetime, zone: ZoneInfo) -> str:
    """A local time with its offset; seconds where there are any."""
    local = at.astimezone(zone)
    return local.isoformat(timespec="auto" if local.second or local.microsecond else "minutes")


def day_or_instant(on: date, at: datetime, zone: ZoneInfo) -> str:
    """The day alone where ``at`` is its end, else the instant."""
    return day(on) if clock.end_of_day(on, zone) == at else instant(at, zone)


def size(sides: tuple[float | None, ...], label: str = "") -> str:
    """Three sides in metres, in inches unless millimetres alone tell them exactly; "" where one is unknown.

    With ``label`` the size is also to be read back under that label.
    """
    known = tuple(side for side in sides if side is not None)
    if len(known) < 3:
        return ""
    inches = _sides(known, units.METRE_PER_INCH)
    millimetres = f"{_sides(known, 0.001)} mm"
    exact = (cell for cell in (inches, millimetres) if _reads_as(cell, known, label))
    return next(exact, inches)


def _sides(sides: Iterable[float], unit_m: float) -> str:
    return "x".join(
        units.written(side, lambda number: number * unit_m, lambda metres: metres / unit_m) for side in sides
    )


def _reads_as(cell: str, sides: tuple[Any, ...], label: str) -> bool:
    try:
        read = parse_size(cell)
    except NotASize:
        return False
    return read.triple == sides and label in ("", read.label)
