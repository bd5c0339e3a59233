"""What each column may hold: a parser turns a cell into its stored value or raises Refused."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from equipment.bounds import HIGHEST_AIRFLOW_CFM, HIGHEST_STATIC_INWC
from equipment.sheets.faults import Refused
from shared import clock, units
from shared.sizes import NotASize, Size, parse_size

Parser = Callable[[str], object]


@dataclass(frozen=True)
class Column:
    """A column of a sheet; an empty cell of one that is not required means unknown.

    ``names`` says what its cells name for other sheets to refer to, such as a system.
    """

    name: str
    parse: Parser
    required: bool = False
    names: str = ""


def text(longest: int) -> Callable[[str], str]:
    """Any text of at most ``longest`` characters, as many as its field holds."""

    def parse(cell: str) -> str:
        if len(cell) > longest:
            raise Refused(f"is longer than {longest} characters")
        if "\x00" in cell:
            raise Refused("holds a character that cannot be stored")
        return cell

    return parse


name = text(120)


def note(cell: str) -> str:
    """Free text."""
    return cell.replace("\x00", "")


def number(low: float, high: float, unit: str, *, above: bool = False) -> Callable[[str], float]:
    """A finite number from ``low`` (or above it) to ``high``, both said in ``unit``."""

    def parse(cell: str) -> float:
        try:
            value = float(cell)
        except ValueError:
            hint = "; write a decimal point" if re.fullmatch(r"-?\d+,\d+", cell) else ""
            raise Refused(f"is not a number{hint}") from None
        if not math.isfinite(value) or "_" in cell:
            raise Refused("is not a finite number")
        if value < low or (above and value == low):
            raise Refused(f"must be {'above' if above else 'at least'} {low:g} {unit}".rstrip())
        if value > high:
            raise Refused(f"must be at most {high:g} {unit}".rstrip())
        return value

    return parse


def whole(low: int, high: int) -> Callable[[str], int]:
    """A whole number from ``low`` to ``high``."""
    as_number = number(low, high, "")

    def parse(cell: str) -> int:
        value = as_number(cell)
        if value != int(value):
            raise Refused("must be a whole number")
        return int(value)

    return parse


def scaled(parse: Callable[[str], float], to_si: Callable[[float], float]) -> Parser:
    """A number whose unit the column's name fixes, as SI."""
    return lambda cell: to_si(parse(cell))


def airflow() -> Parser:
    """cfm as m3/s."""
    return scaled(number(0, HIGHEST_AIRFLOW_CFM, "cfm", above=True), units.cfm)


def static(*, above: bool = False) -> Parser:
    """in. w.c. as Pa; what no blower reaches is refused."""
    plain = number(0, math.inf, "in. w.c.", above=above)

    def parse(cell: str) -> float:
        value = plain(cell)
        if value > HIGHEST_STATIC_INWC:
            pascals = f"{cell} Pa would be {value / units.PA_PER_INWC:.3f} in. w.c."
            most = f"at most {HIGHEST_STATIC_INWC:g} in. w.c."
            raise Refused(f"is more than any blower here can draw ({most}; {pascals})")
        return units.inwc(value)

    return parse


def day(cell: str) -> date:
    """An ISO date of 1950 to 2100."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", cell):
        raise Refused("is not a date such as 2026-05-14")
    try:
        value = date.fromisoformat(cell)
    except ValueError:
        raise Refused("is a day that the calendar does not have") from None
    if not 1950 <= value.year <= 2100:
        raise Refused("is not a year between 1950 and 2100")
    return value


def instant(cell: str) -> datetime:
    """ISO 8601 date and time; naive when no offset is written."""
    try:
        value = datetime.fromisoformat(cell)
    except ValueError:
        raise Refused("is not a date and time such as 2026-05-14T10:30") from None
    if not 1950 <= value.year <= 2100:
        raise Refused("is not a year between 1950 and 2100")
    return value


def day_or_instant(cell: str) -> date | datetime:
    """A date, or a date with a time."""
    return day(cell) if len(cell) <= 10 else instant(cell)


def size(cell: str) -> Size:
    """A nominal size as people type it."""
    try:
        return parse_size(cell)
    except NotASize as error:
        raise Refused(str(error)) from None


def email(cell: str) -> str:
    """A mail address."""
    try:
        validate_email(cell)
    except ValidationError:
        raise Refused("is not a mail address") from None
    return text(254)(cell)


def language(cell: str) -> str:
    """A language code such as en or es."""
    if not re.fullmatch(r"[A-Za-z]{2}([-_][A-Za-z]{2,4})?", cell):
        raise Refused("is not a language code such as en or es")
    return cell.lower().replace("_", "-")


def timezone(cell: str) -> str:
    """An IANA zone."""
    try:
        clock.zone(cell)
    except ValueError as error:
        raise Refused(str(error)) from None
    return cell


def one_of(*words: str) -> Parser:
    """One of a few words."""

    def parse(cell: str) -> str:
        if cell.lower() not in words:
            raise Refused("must be one of " + ", ".join(words))
        return cell.lower()

    return parse


def yes_no(cell: str) -> bool:
    """1 or 0."""
    if cell not in ("0", "1"):
        raise Refused("must be 0 or 1")
    return cell == "1"


def blower_table(cell: str) -> list[list[float]]:
    """``cfm:inwc;cfm:inwc;...`` as pairs in m3/s and Pa, rising in airflow."""
    pairs = []
    for part in filter(None, (part.strip() for part in cell.split(";"))):
        try:
            flow, pressure = (float(value) for value in part.split(":"))
        except ValueError:
            raise Refused(f"“{part}” is not a pair such as 800:0.5") from None
        if not (0 <= flow <= HIGHEST_AIRFLOW_CFM and 0 <= pressure <= HIGHEST_STATIC_INWC):
            raise Refused(f"“{part}” is not an airflow in cfm and a static in in. w.c.")
        pairs.append([units.cfm(flow), units.inwc(pressure)])
    if len(pairs) < 2:
        raise Refused("a blower table needs two points or more")
    pairs.sort()
    if any(one[0] == other[0] for one, other in pairwise(pairs)):
        raise Refused("the same airflow stands twice in the blower table")
    return pairs


def at_instant(value: date | datetime, zone_name: str) -> datetime:
    """An aware UTC instant: of a datetime itself (naive: in the zone), of a day its end.

    Of a naive time that the clocks show twice, the first. Raises Refused for one that they skip.
    """
    tz = clock.zone(zone_name)
    if isinstance(value, datetime):
        if value.tzinfo is None and clock.skipped(value, tz):
            raise Refused(f"is a time that never was in {zone_name}: the clocks go forward over it")
        aware = value if value.tzinfo else value.replace(tzinfo=tz)
        return aware.astimezone(UTC)
    return clock.end_of_day(value, tz)
