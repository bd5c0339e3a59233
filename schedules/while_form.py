"""The form for a filter that goes in for a while."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from equipment.meanwhile import ForAWhile
from equipment.models import Media
from schedules.day_field import DayField
from schedules.what_fits import Candidate

USUAL_DAYS = 28


class WhileForm(forms.Form):
    """Which filter, until when, looked at by when; only such as fit can be chosen."""

    medium = forms.ModelChoiceField(
        Media.objects.none(), label=_("Filter that goes in today"), empty_label=None
    )
    ends_on = DayField(label=_("Out again by"))
    look_on = DayField(label=_("Looked at by"), required=False)
    why = forms.CharField(
        label=_("Why (smoke, an allergy, the usual one is short)"), required=False, max_length=200
    )

    def __init__(self, good: Sequence[Candidate], today: date, *args: Any, **kwargs: Any) -> None:
        days = min((one.days for one in good[:1] if one.days), default=USUAL_DAYS)
        kwargs.setdefault("initial", {"ends_on": today + timedelta(days=min(days, USUAL_DAYS))})
        super().__init__(*args, **kwargs)
        self.today, self.days = today, {one.media.pk: one.days for one in good}
        medium = self.fields["medium"]
        assert isinstance(medium, forms.ModelChoiceField)  # noqa: S101
        medium.queryset = Media.objects.filter(pk__in=self.days).order_by("-merv", "name")
        self.has_choice = bool(good)

    def asked(self) -> ForAWhile:
        """What was asked; the look, where no day was named, halfway to the earlier of the end and the day
        that the filter would be due."""
        data = self.cleaned_data
        until = (data["ends_on"] - self.today).days
        half = max(1, min(until, self.days[data["medium"].pk] or until) // 2)
        look = data["look_on"] or min(self.today + timedelta(days=half), data["ends_on"])
        return ForAWhile(data["medium"], look, data["ends_on"], data["why"])
