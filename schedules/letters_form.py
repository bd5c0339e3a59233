"""How letters and text messages go out: lead times, hours and days."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from schedules.models import Policy

_HOURS = (("send_from_hour", "send_to_hour"), ("text_from_hour", "text_to_hour"))
_MOST_DAYS = 120


class LettersForm(forms.ModelForm):  # type: ignore[type-arg]
    """The part of the desk's policy that a reader notices."""

    class Meta:
        model = Policy
        fields = [
            "lead_days", "together_days", "follow_up_days", "call_after_days", "send_from_hour",
            "send_to_hour", "working_days_only", "text_from_hour", "text_to_hour",
        ]  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """Hours of a day, in order; days that somebody may wait for."""
        data = super().clean() or {}
        for first, last in _HOURS:
            begins, ends = data.get(first), data.get(last)
            if begins is not None and ends is not None and not 0 <= begins < ends <= 24:
                self.add_error(last, _("The hours go from 0 to 24, and end after they begin."))
        for name in ("lead_days", "together_days", "follow_up_days", "call_after_days"):
            if (data.get(name) or 0) > _MOST_DAYS:
                self.add_error(name, _("At most %(n)d days.") % {"n": _MOST_DAYS})
        return data
