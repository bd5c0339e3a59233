"""One filter's reading and height, as its page asks for them."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from equipment.fields import DropField, HeightField, QuantityField, use_units
from equipment.models import FilterSlot
from schedules.drop_today import DropToday
from schedules.reading_checks import expected_now, lone_rules
from schedules.reading_rules import ask, readings, tell_browser
from shared.units import AIRFLOW, LENGTH, number


class HeightForm(forms.Form):
    """How high a grille is; left empty it is not known."""

    height = HeightField(label=_("How high above the floor"), required=False)

    def __init__(self, slot: FilterSlot, units: str, data: Any = None) -> None:
        typed = number(slot.height_m, LENGTH, units, 1) if slot.height_m is not None else ""
        super().__init__(data, initial={"height": typed})
        use_units(self, units)


class ReadingForm(forms.Form):
    """A manometer's reading at a slot, asked about as at a visit."""

    filter_drop = DropField(label=_("Filter drop"))
    airflow = QuantityField(AIRFLOW, label=_("Airflow through this filter"), required=False)
    airflow_method = forms.CharField(label=_("How the airflow was measured"), required=False, max_length=80)
    sure = forms.BooleanField(label=_("I looked again: it is so"), required=False, widget=forms.HiddenInput)

    def __init__(
        self, slot: FilterSlot, units: str, data: Any = None, today: DropToday | None = None
    ) -> None:
        super().__init__(data)
        self.units = units
        use_units(self, units)
        if expected := expected_now(slot, units, today):
            self.fields["filter_drop"].label = f"{self.fields['filter_drop'].label} ({expected})"
        self.rules = lone_rules(slot, units, today)
        tell_browser(self, self.rules)

    def clean(self) -> dict[str, Any]:
        """Ask where the reading is not as it should be, unless somebody looked again."""
        data = super().clean() or {}
        ask(self, self.rules, readings(self), self.units)
        return data
