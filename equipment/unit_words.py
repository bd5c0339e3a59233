"""Quantities and sizes as households read them: the registry's figures, the unit in the active language."""

from django.utils.translation import pgettext

from shared import sizes, units
from shared.units import Kind


def _said(label: str) -> str:
    """What a household meets in words; cfm, Pa and the like are written alike everywhere."""
    words = {"in. w.c.": pgettext("unit", "in. w.c."), "in": pgettext("unit", "in")}
    return words.get(label, label)


def label(kind: Kind, system: str = "ip") -> str:
    """The unit that ``system`` prints for ``kind``."""
    return _said(units.label(kind, system))


def show(value: float | None, kind: Kind, system: str = "ip") -> str:
    """An SI float as number and unit; an en dash for None."""
    return "–" if value is None else f"{units.number(value, kind, system)} {label(kind, system)}"


def show_size(short_m: float, long_m: float, depth_m: float, system: str = "ip") -> str:
    """Three sides in metres, such as ``15.5 × 24.5 × 0.75 in``."""
    figures, _space, unit = sizes.show_size(short_m, long_m, depth_m, system).rpartition(" ")
    return f"{figures} {_said(unit)}"
