"""The only unit registry: what people type becomes SI floats, SI floats become what they read.

Inside the program every quantity is a float in SI: pascal, cubic metre a second, metre, metre a
second, watt. Hours of fan running are the one exception, a unit accepted for use with the SI.

``cfm`` and ``fpm`` are defined here before anything is parsed: a fresh pint registry reads ``cfm``
as centi-femtometres and does not know ``fpm``, and a later definition does not repair a unit that
was parsed before.
"""

import math
import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from typing import Final

import pint

METRE_PER_INCH: Final = 0.0254
M3S_PER_CFM: Final = 0.3048**3 / 60
MS_PER_FPM: Final = 0.3048 / 60
PA_PER_INWC: Final = 249.08891
W_PER_TON: Final = 12_000 * 1055.05585262 / 3600


def _registry() -> "pint.UnitRegistry[float]":
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    registry.define("cubic_foot_per_minute = foot ** 3 / minute = cfm = CFM")
    registry.define("foot_per_minute = foot / minute = fpm = FPM")
    registry.define(f"inch_of_water = {PA_PER_INWC} * pascal = inwc = inWC")
    registry.define(f"ton_refrigeration = {W_PER_TON!r} * watt = tonR")
    return registry


_REGISTRY: Final = _registry()

# What people write beside a number, and what the registry calls it.
_SPELLINGS: Final = {
    "in. w.c.": "inwc", "in wc": "inwc", "in.wc": "inwc", "inwc": "inwc", "iwc": "inwc", "in w.c.": "inwc",
    "in.w.c.": "inwc", "in. wc": "inwc", "in. h2o": "inwc", "in h2o": "inwc", "inh2o": "inwc",
    "inches": "inwc", "in": "inwc", '"': "inwc", "pa": "pascal",
    "cfm": "cfm", "l/s": "liter / second", "m3/h": "meter ** 3 / hour", "m³/h": "meter ** 3 / hour",
    "m3/s": "meter ** 3 / second", "fpm": "fpm", "m/s": "meter / second",
    "mph": "mile / hour", "km/h": "kilometer / hour",
    "ton": "tonR", "tons": "tonR", "kw": "kilowatt", "w": "watt", "btu/h": "Btu / hour",
    "f": "degF", "°f": "degF", "c": "degC", "°c": "degC",
}  # fmt: skip
# An inch alone is one of water to a manometer and one of length to a rule.
_LENGTHS: Final = {
    "in": "inch", "in.": "inch", "inch": "inch", "inches": "inch", '"': "inch", "″": "inch", "”": "inch",
    "ft": "foot", "foot": "foot", "feet": "foot", "'": "foot",
    "mm": "millimeter", "cm": "centimeter", "m": "meter",
}  # fmt: skip


class NotAQuantity(ValueError):
    """What was typed is not a number of the wanted kind; the message says why in plain words."""


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its SI unit and, for each way of showing, unit, label and decimals."""

    name: str
    si: str
    inch_pound: tuple[str, str, int]
    metric: tuple[str, str, int]

    def shown(self, system: str) -> tuple[str, str, int]:
        """Registry unit, printed label and decimals for ``system`` ("ip" or "si")."""
        return self.metric if system == "si" else self.inch_pound


PRESSURE: Final = Kind("pressure", "pascal", ("inwc", "in. w.c.", 2), ("pascal", "Pa", 0))
AIRFLOW: Final = Kind("airflow", "meter ** 3 / second", ("cfm", "cfm", 0), ("liter / second", "L/s", 0))
VELOCITY: Final = Kind("velocity", "meter / second", ("fpm", "fpm", 0), ("meter / second", "m/s", 2))
CAPACITY: Final = Kind("capacity", "watt", ("tonR", "tons", 1), ("kilowatt", "kW", 1))
DIAMETER: Final = Kind("a diameter", "meter", ("inch", "in", 1), ("millimeter", "mm", 0))
LENGTH: Final = Kind("a length", "meter", ("foot", "ft", 0), ("meter", "m", 1))
AREA: Final = Kind("an area", "meter ** 2", ("inch ** 2", "in²", 0), ("centimeter ** 2", "cm²", 0))
ROAD_LENGTH: Final = Kind("a way", "meter", ("mile", "mi", 0), ("kilometer", "km", 0))
ROAD_SPEED: Final = Kind(
    "a road speed", "meter / second", ("mile / hour", "mph", 0), ("kilometer / hour", "km/h", 0)
)
TEMPERATURE: Final = Kind("temperature", "degC", ("degF", "°F", 0), ("degC", "°C", 0))

# A comma and three figures behind it, or several such groups; before a decimal comma nothing is grouped.
_GROUPED = re.compile(r"([-+]?[1-9]\d{0,2}(?:,\d{3})+)((?!\d|,\d).*)")
_TYPED = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


def to_si(value: float, unit: str, kind: Kind) -> float:
    """``value`` in registry unit ``unit`` as an SI float of ``kind``."""
    return _converted(value, unit, kind.si)


def from_si(value: float, unit: str, kind: Kind) -> float:
    """An SI float of ``kind`` in registry unit ``unit``."""
    return _converted(value, kind.si, unit)


def _converted(value: float, unit: str, into: str) -> float:
    """The registry says once how many of one unit are in the other; degrees it is asked each time, as their
    noughts differ."""
    if unit.startswith("deg"):
        return float(_REGISTRY.Quantity(value, unit).to(into).magnitude)
    return float(value) * _times(unit, into)


@cache
def _times(unit: str, into: str) -> float:
    return float(_REGISTRY.Quantity(1.0, unit).to(into).magnitude)


def parse(text: str, kind: Kind, system: str = "ip") -> float:
    """What a person typed, with or without a unit, as an SI float.

    Without a unit the number is taken in the unit that ``system`` shows for ``kind``. A decimal
    comma is understood, and commas between thousands; where one comma may be either, as in ``1,250``, it
    parts thousands of an airflow. Raises NotAQuantity for words, infinities, units of another kind, and
    for such a comma in any other quantity.
    """
    match = _TYPED.match(_without_commas(text.strip().replace("−", "-"), kind))
    if match is None:
        raise NotAQuantity(f"“{text}” is not a number")
    number, written = float(match[1]), match[2].lower()
    if not math.isfinite(number):
        raise NotAQuantity(f"“{text}” is not a finite number")
    spellings = _LENGTHS if kind.si == "meter" else _SPELLINGS
    unit = spellings.get(written) if written else kind.shown(system)[0]
    if unit is None:
        raise NotAQuantity(f"“{match[2]}” is not a unit known here")
    try:
        return to_si(number, unit, kind)
    except pint.DimensionalityError:
        raise NotAQuantity(f"“{match[2]}” does not measure {kind.name}") from None


def _without_commas(typed: str, kind: Kind) -> str:
    """The same with a point for a decimal comma and without commas between thousands."""
    grouped = _GROUPED.fullmatch(typed)
    if grouped is None:
        return re.sub(r"^([-+]?\d*),(?=\d)", r"\1.", typed)
    whole, rest = grouped[1].replace(",", ""), grouped[2]
    if kind == AIRFLOW or grouped[1].count(",") > 1 or rest.startswith("."):
        return whole + rest
    point = grouped[1].replace(",", ".")
    raise NotAQuantity(f"“{typed}” may be {whole} or {point}: write it without the comma")


def has_unit(text: str) -> bool:
    """Whether a unit was typed behind the number."""
    return bool(unit_of(text))


def unit_of(text: str) -> str:
    """What was typed behind the number, empty for nothing and where there is no number."""
    match = _TYPED.match(re.sub(r"(?<=\d),(?=\d)|^,(?=\d)", "", text.strip().replace("−", "-")))
    return match[2] if match else ""


def number(value: float, kind: Kind, system: str = "ip", decimals: int | None = None) -> str:
    """An SI float as the bare number that people read in ``system``."""
    unit, _, places = kind.shown(system)
    text = f"{from_si(value, unit, kind):.{places if decimals is None else decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def show(value: float | None, kind: Kind, system: str = "ip", decimals: int | None = None) -> str:
    """An SI float as number and unit; an en dash for None."""
    if value is None:
        return "–"
    return f"{number(value, kind, system, decimals)} {kind.shown(system)[1]}"


@cache
def spellings(kind: Kind) -> Mapping[str, float]:
    """What people may write behind a number of ``kind``, in small letters, and how many SI units one is;
    temperatures, whose noughts differ, have none."""
    known = _LENGTHS if kind.si == "meter" else _SPELLINGS
    found = {}
    for written, unit in known.items():
        with suppress(pint.DimensionalityError, pint.OffsetUnitCalculusError):
            if to_si(0.0, unit, kind) == 0.0:
                found[written] = to_si(1.0, unit, kind)
    return found


def label(kind: Kind, system: str = "ip") -> str:
    """The unit that ``system`` prints for ``kind``."""
    return kind.shown(system)[1]


def scale(factor: float) -> Callable[[float], float]:
    """A plain multiplication, for columns of many numbers whose unit the column's name fixes."""
    return lambda value: value * factor


def cfm(value: float) -> float:
    """Cubic feet a minute as m3/s."""
    return value * M3S_PER_CFM


def inwc(value: float) -> float:
    """Inches of water as Pa."""
    return value * PA_PER_INWC


def tons(value: float) -> float:
    """Tons of refrigeration as W."""
    return value * W_PER_TON


def celsius(fahrenheit: float) -> float:
    """Degrees Fahrenheit as degrees Celsius."""
    return (fahrenheit - 32.0) / 1.8


def fahrenheit(celsius: float) -> float:
    """Degrees Celsius as degrees Fahrenheit, without the noise behind the twelfth decimal."""
    return round(celsius * 1.8 + 32.0, 12)


def plain(value: float) -> str:
    """A number so that it is read back as the very same, a whole one without its point."""
    return repr(float(value)).removesuffix(".0")


# Fourteen figures come back the same whatever a conversion there and back rounds; seventeen tell any float.
_FIGURES: Final = (14, 15, 16, 17)


def written(value: float, to_si: Callable[[float], float], from_si: Callable[[float], float]) -> str:
    """An SI float in another unit with as few figures as are read back as the very same float.

    Where no figures are (the unit's numbers lie wider apart than those of SI), fourteen of them; what these
    are read as is then written the same. ``to_si`` and ``from_si`` convert a bare number.
    """
    there = from_si(value)
    for figures in _FIGURES:
        text = f"{there:.{figures}g}"
        if to_si(float(text)) == value:
            return text
    return f"{there:.{_FIGURES[0]}g}"
