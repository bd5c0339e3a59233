"""Boxes of what is not right at a home: each with what corrects it, shown as soon as it is ticked."""

from typing import Any

from django import forms

from schedules.defects import advice_on


class SeenBoxes(forms.CheckboxSelectMultiple):
    """One box a kind of defect; the page has every correction, the stylesheet shows those of ticked boxes,
    so that nobody needs signal or scripts to read what cannot wait."""

    template_name = "schedules/seen_boxes.html"

    def create_option(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        """A box as Django makes it, with its ``advice``."""
        option: dict[str, Any] = super().create_option(*args, **kwargs)
        return option | {"advice": advice_on(str(option["value"]))}
