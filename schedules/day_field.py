"""A day as people pick it."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _


class DayInput(forms.DateInput):
    """The browser's own day picker."""

    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class DayField(forms.DateField):
    """A day that a desk may have on record: 1950 to 2100."""

    widget = DayInput

    def clean(self, value: Any) -> date | None:
        """The day; forms.ValidationError for a year out of range."""
        day: date | None = super().clean(value)
        if day is not None and not 1950 <= day.year <= 2100:
            raise forms.ValidationError(_("That day is too far off: write a year between 1950 and 2100."))
        return day
