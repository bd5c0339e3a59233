"""Questions about readings as plain bounds and words: asked by the form, and by the browser at once."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django import forms

from equipment.fields import BOUNDLESS, QuantityField, is_subtraction
from shared.units import PRESSURE, Kind, show

ANYTHING = "*"


@dataclass(frozen=True)
class Rule:
    """Asks where the sum of the readings in ``names`` lies from ``low`` to ``high``, both included, in SI.

    Names are those of the whole page, with their form's prefix; the first is where the question stands. With
    ``beside`` the bounds are parts of that reading, and without it nothing is asked. ``only`` names fields
    and what has to stand in them: ANYTHING, or just that text, empty for a box without a tick. In ``text``
    ``{value}`` is the sum in the reader's units and ``{share}`` its per cents of ``part_of``. A ``note`` is
    said by the browser and asks for no answer; ``subtracted`` holds of two statics with a minus alone.
    """

    names: tuple[str, ...]
    text: str
    low: float = -math.inf
    high: float = math.inf
    beside: str = ""
    only: tuple[tuple[str, str], ...] = ()
    part_of: float | None = None
    note: bool = False
    subtracted: bool = False
    kind: Kind = PRESSURE

    def asked(self, read: Mapping[str, float | None], typed: Mapping[str, str], units: str) -> str:
        """The question, empty where there is none; ``read`` holds SI readings, ``typed`` what was typed."""
        given = [value for name in self.names if (value := read.get(name)) is not None]
        per = read.get(self.beside) if self.beside else 1.0
        if not given or not per or not all(_holds(typed.get(name), wanted) for name, wanted in self.only):
            return ""
        value = sum(given)
        if self.subtracted and not is_subtraction(typed.get(self.names[0]) or ""):
            return ""
        if not self.low * per <= value <= self.high * per:
            return ""
        share = str(round(100 * value / self.part_of)) if self.part_of else ""
        return self.text.replace("{value}", show(value, self.kind, units)).replace("{share}", share)

    def for_browser(self) -> dict[str, object]:
        """The same for a script."""
        bounds = max(self.low, -BOUNDLESS), min(self.high, BOUNDLESS)
        return {
            "names": self.names, "text": self.text, "low": bounds[0], "high": bounds[1], "note": self.note,
            "beside": self.beside, "only": self.only, "of": self.part_of, "two": self.subtracted,
        }  # fmt: skip


def _holds(text: str | None, wanted: str) -> bool:
    return bool(text) if wanted == ANYTHING else (text or "") == wanted


def ask(form: forms.Form, rules: Iterable[Rule], read: Mapping[str, float | None], units: str) -> None:
    """Put the questions to the form's fields unless it is ``sure``; its box for that is shown with them."""
    found = [(rule.names[0], rule.asked(read, form.data, units)) for rule in rules if not rule.note]
    asked = [(name, text) for name, text in found if text]
    if asked:
        form.fields["sure"].widget = forms.CheckboxInput()
    if asked and not form.cleaned_data.get("sure"):
        for name, text in asked:
            form.add_error(name.removeprefix(f"{form.prefix}-" if form.prefix else ""), text)


def readings(form: forms.Form) -> dict[str, float | None]:
    """What was read, by the page's names, of a form that was cleaned."""
    return {
        form.add_prefix(name): form.cleaned_data.get(name)
        for name, field in form.fields.items()
        if isinstance(field, QuantityField)
    }


def tell_browser(form: forms.Form, rules: Iterable[Rule]) -> None:
    """Give the form's fields what the script of the page asks by."""
    by_name: dict[str, list[object]] = {}
    for rule in rules:
        by_name.setdefault(rule.names[0], []).append(rule.for_browser())
    for name, field in form.fields.items():
        if isinstance(field, QuantityField):
            attributes = {"reads": field.at_once(), "rules": by_name.get(form.add_prefix(name), [])}
            field.widget.attrs |= {
                f"data-{key}": json.dumps(value, ensure_ascii=False) for key, value in attributes.items()
            }
    sure = form.fields["sure"]
    sure.widget.attrs["data-sure"] = str(sure.label)
