"""Form fields for what people type: sizes, and quantities with or without a unit."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _

from equipment.bounds import HIGHEST_AIRFLOW_CFM, HIGHEST_STATIC_INWC
from shared import units
from shared.sizes import NotASize, Size, parse_size
from shared.units import AIRFLOW, CAPACITY, PRESSURE, Kind, NotAQuantity, label, number, parse

_HIGHEST = {PRESSURE: units.inwc(HIGHEST_STATIC_INWC), AIRFLOW: units.cfm(HIGHEST_AIRFLOW_CFM)}
_NEVER_NOUGHT = (AIRFLOW, CAPACITY)


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

    def clean(self, value: Any) -> float | None:
        """SI float; forms.ValidationError says what is wrong in plain words."""
        typed = super().clean(value)
        if not typed:
            return None
        try:
            amount = parse(typed, self.kind, self.system)
        except NotAQuantity as error:
            raise forms.ValidationError(str(error)) from None
        if amount < self.low:
            low = number(self.low, self.kind, self.system)
            raise forms.ValidationError(
                _("must be at least %(low)s %(unit)s") % {"low": low, "unit": self.unit}
            )
        highest = _HIGHEST.get(self.kind)
        if highest is not None and amount > highest:
            high = number(highest, self.kind, self.system)
            raise forms.ValidationError(
                _("must be at most %(high)s %(unit)s. Check the unit.") % {"high": high, "unit": self.unit}
            )
        if amount == 0 and self.kind in _NEVER_NOUGHT:
            raise forms.ValidationError(_("must be above 0; leave it empty where it is not known"))
        return amount


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
