"""Form fields for what people type: sizes, and quantities with or without a unit."""

import math
import re
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from equipment.bounds import (
    HIGHEST_AIRFLOW_CFM,
    HIGHEST_GRILLE_M,
    HIGHEST_STATIC_INWC,
    USUAL_CAPACITY_TONS,
    USUAL_STATIC_INWC,
)
from shared import units
from shared.sizes import NotASize, Size, parse_size
from shared.units import (
    AIRFLOW,
    CAPACITY,
    DIAMETER,
    LENGTH,
    PRESSURE,
    Kind,
    NotAQuantity,
    has_unit,
    label,
    number,
    parse,
    show,
    spellings,
    to_si,
    unit_of,
)

_HIGHEST = {PRESSURE: units.inwc(HIGHEST_STATIC_INWC), AIRFLOW: units.cfm(HIGHEST_AIRFLOW_CFM)}
# What stands for no bound where a script is told, as JSON knows no infinity.
BOUNDLESS = 1e99
_NEVER_NOUGHT = (AIRFLOW, CAPACITY, DIAMETER)
# A bare number outside these is likelier of the other system's unit: pascals among inches, kW among tons.
_USUAL = {
    PRESSURE: (units.inwc(0.002), units.inwc(USUAL_STATIC_INWC)),
    AIRFLOW: (units.cfm(20.0), units.cfm(6000.0)),
    CAPACITY: (units.tons(0.4), units.tons(USUAL_CAPACITY_TONS)),
}
# Where pascals are typed, less than this is likelier inches of water.
_LEAST_PA = 5.0


def _odd(amount: float, kind: Kind, system: str) -> bool:
    """Whether a bare number is likelier of the other system's unit."""
    low, high = _usual(kind, system)
    return amount != 0 and not low <= amount <= high


def _usual(kind: Kind, system: str) -> tuple[float, float]:
    """Bounds in SI of what a bare number usually is."""
    low, high = _USUAL.get(kind, (0.0, math.inf))
    return (_LEAST_PA if kind == PRESSURE and system == "si" else low), high


class QuantityField(forms.CharField):
    """A quantity in the reader's units; cleans to an SI float, or None when left empty."""

    def __init__(self, kind: Kind, system: str = "ip", low: float = 0.0, **kwargs: Any) -> None:
        self.kind, self.system, self.low = kind, system, low
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**kwargs)

    @property
    def unit(self) -> str:
        """The unit printed beside the field."""
        return label(self.kind, self.system)

    @property
    def _other(self) -> str:
        return label(self.kind, "ip" if self.system == "si" else "si")

    def clean(self, value: Any) -> float | None:
        """SI float; forms.ValidationError says what is wrong in plain words."""
        typed = super().clean(value)
        if not typed:
            return None
        try:
            amount = self._amount(typed)
        except NotAQuantity as error:
            raise forms.ValidationError(str(error)) from None
        if amount < 0 and self.kind == PRESSURE:
            raise forms.ValidationError(self._negative(typed))
        if amount < self.low:
            low = number(self.low, self.kind, self.system)
            raise forms.ValidationError(
                _("must be at least %(low)s %(unit)s") % {"low": low, "unit": self.unit}
            )
        highest = _HIGHEST.get(self.kind)
        if highest is not None and amount > highest:
            raise forms.ValidationError(self._too_high(typed))
        if amount == 0 and self.kind in _NEVER_NOUGHT:
            raise forms.ValidationError(_("must be above 0; leave it empty where it is not known"))
        self._suspect(amount, typed)
        return amount

    def _suspect(self, amount: float, typed: str) -> None:
        """Ask where a bare number is likelier of the other system's unit; a unit behind it answers."""
        if _odd(amount, self.kind, self.system) and not self._has_unit(typed):
            raise forms.ValidationError(self._unusual(typed))

    def _amount(self, typed: str) -> float:
        return parse(typed, self.kind, self.system)

    def _has_unit(self, typed: str) -> bool:
        return has_unit(typed)

    def _negative(self, typed: str) -> str:
        return _("is written without its sign: write how far it is from the room")

    def _too_high(self, typed: str) -> str:
        high = number(_HIGHEST[self.kind], self.kind, self.system)
        return _(
            "must be at most %(high)s %(unit)s; if it was read in %(other)s, write %(typed)s %(other)s"
        ) % {"high": high, "unit": self.unit, "other": self._other, "typed": typed.strip()}

    def _unusual(self, typed: str) -> str:
        return _(
            "%(typed)s %(unit)s would be unusual. Write the unit behind it: %(typed)s %(other)s, "
            "or %(typed)s %(unit)s if it is so."
        ) % {"typed": typed.strip(), "unit": self.unit, "other": self._other}

    def at_once(self) -> dict[str, Any]:
        """What a browser needs to read the field as it is read here and to say the same of it: SI units in
        one of each unit, bounds in SI, and words in which ``{typed}`` stands for what was typed."""
        other = "ip" if self.system == "si" else "si"
        low, high = _usual(self.kind, self.system)
        return {
            "unit": self.unit,
            "per": to_si(1.0, self.kind.shown(self.system)[0], self.kind),
            "digits": self.kind.shown(self.system)[2],
            "other": self._other,
            "otherPer": to_si(1.0, self.kind.shown(other)[0], self.kind),
            "otherDigits": self.kind.shown(other)[2],
            "units": spellings(self.kind),
            "most": _HIGHEST.get(self.kind, BOUNDLESS),
            "usual": [low, min(high, BOUNDLESS)],
            "two": False,
            "thousands": self.kind == AIRFLOW,
            "says": {
                "unread": _("“{typed}” is not a number with a unit known here"),
                "comma": _("{typed} may be in thousands or a decimal: write it without the comma"),
                "negative": self._negative("{typed}") if self.kind == PRESSURE else "",
                "most": self._too_high("{typed}") if self.kind in _HIGHEST else "",
                "usual": self._unusual("{typed}"),
                "keys": _("another unit or a minus"),
            },
        }


class HeightField(QuantityField):
    """How high above the floor a grille is; cleans to metres."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(LENGTH, **kwargs)

    def clean(self, value: Any) -> float | None:
        """Metres; forms.ValidationError beyond what any home's ladder reaches."""
        amount = super().clean(value)
        if amount is not None and amount > HIGHEST_GRILLE_M:
            high = show(HIGHEST_GRILLE_M, LENGTH, self.system)
            raise forms.ValidationError(_("must be at most %(high)s above the floor") % {"high": high})
        return amount


# Where two statics may part: a minus that has a figure or a unit in front of it.
_MINUS = re.compile(r"(?<=\S)\s*[-–−]\s*")


@dataclass(frozen=True)
class TwoStatics:
    """Two statics with a minus between them, each with its unit as far as one was typed."""

    first: str
    second: str

    @property
    def with_unit(self) -> bool:
        """Whether a unit was typed behind either."""
        return has_unit(self.first) or has_unit(self.second)

    def drop(self, system: str) -> float:
        """Their difference in Pa; a unit written once holds for both. Raises NotAQuantity."""
        first, second = self.first, self.second
        if has_unit(first) != has_unit(second):
            unit = unit_of(first) or unit_of(second)
            first, second = (one if has_unit(one) else f"{one} {unit}" for one in (first, second))
        return parse(first, PRESSURE, system) - parse(second, PRESSURE, system)


def two_statics(typed: str) -> TwoStatics | None:
    """The two of ``0.42-0.18`` or ``105 - 45 Pa``; None for anything else."""
    for minus in _MINUS.finditer(typed.strip()):
        told = TwoStatics(typed.strip()[: minus.start()], typed.strip()[minus.end() :])
        with suppress(NotAQuantity):
            told.drop("ip")
            return told
    return None


def is_subtraction(typed: str) -> bool:
    """Whether two statics with a minus between them were typed."""
    return two_statics(typed) is not None


class DropField(QuantityField):
    """A filter's drop; cleans to Pa. Two statics with a minus between them, ``0.42-0.18`` or ``105 - 45 Pa``,
    are understood as well; what they come to then stands in ``worked_out``."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(PRESSURE, **kwargs)
        self.worked_out = ""

    def _amount(self, typed: str) -> float:
        self.worked_out = ""
        try:
            return super()._amount(typed)
        except NotAQuantity:
            two = two_statics(typed)
            if two is None:
                raise
        amount = two.drop(self.system)
        self.worked_out = f"{typed.strip()} = {show(amount, PRESSURE, self.system)}"
        return amount

    def _has_unit(self, typed: str) -> bool:
        two = two_statics(typed)
        return two.with_unit if two else has_unit(typed)

    def _negative(self, typed: str) -> str:
        return _(
            "%(typed)s is below nought, which no filter's drop is: look whether the two tubes, or the two "
            "statics, are swapped."
        ) % {"typed": typed.strip()}

    def at_once(self) -> dict[str, Any]:
        """The same, with two statics."""
        return super().at_once() | {"two": True}


class TableField(forms.CharField):
    """A blower table as people type it, ``800:0.5; 1000:0.3`` or a line a pair, in the reader's units; cleans
    to pairs [airflow in m3/s, static in Pa] rising in airflow, none where it was left empty."""

    system = "ip"
    widget = forms.Textarea(attrs={"rows": 3})

    @property
    def unit(self) -> str:
        """The units printed beside the field."""
        return f"{label(AIRFLOW, self.system)}:{label(PRESSURE, self.system)}"

    def clean(self, value: Any) -> list[list[float]]:
        """The pairs; forms.ValidationError says what is wrong with which."""
        parts = [part.strip() for part in re.split(r"[;\n]", str(super().clean(value))) if part.strip()]
        pairs = sorted(self._pair(part) for part in parts)
        if len(pairs) == 1:
            raise forms.ValidationError(_("A blower table needs two points or more."))
        for one, other in pairwise(pairs):
            if one[0] == other[0]:
                raise forms.ValidationError(_("The same airflow stands twice in the table."))
            if other[1] >= one[1]:
                raise forms.ValidationError(_("The static has to fall as the airflow rises."))
        return pairs

    def _pair(self, part: str) -> list[float]:
        try:
            flow, static = part.split(":")
            pair = [parse(flow, AIRFLOW, self.system), parse(static, PRESSURE, self.system)]
        except ValueError:
            raise forms.ValidationError(_("“%(part)s” is no pair such as 800:0.5") % {"part": part}) from None
        if not (0 <= pair[0] <= _HIGHEST[AIRFLOW] and 0 <= pair[1] <= _HIGHEST[PRESSURE]):
            raise forms.ValidationError(
                _("“%(part)s” is more than any home's blower; check the unit") % {"part": part}
            )
        for typed, amount, kind in zip((flow, static), pair, (AIRFLOW, PRESSURE), strict=True):
            if _odd(amount, kind, self.system) and not has_unit(typed):
                said = {"part": part, "unit": self.unit}
                raise forms.ValidationError(
                    _("“%(part)s” %(unit)s would be unusual. Write the units behind the numbers.") % said
                )
        return pair


def use_units(form: forms.BaseForm, units: str) -> None:
    """Let every quantity of a form be typed in ``units``."""
    for field in form.fields.values():
        if isinstance(field, QuantityField | TableField):
            field.system = units


class SizeField(forms.CharField):
    """A nominal size; cleans to shared.sizes.Size, or None when left empty."""

    def clean(self, value: Any) -> Size | None:
        """The size; forms.ValidationError says what is wrong in plain words."""
        typed = super().clean(value)
        if not typed:
            return None
        try:
            return parse_size(typed)
        except NotASize as error:
            raise forms.ValidationError(str(error)) from None


def whole_number(text: str | None) -> int:
    """The id that a page sent back, or nought (which no row has) for anything else."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 18 else 0
