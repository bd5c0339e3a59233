"""The form that asks for a plan of a season."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from schedules.day_field import DayField
from schedules.models import SeasonPlan
from schedules.season_runs import FEWEST_WEEKS, MOST_WEEKS, next_monday

SEARCHES = [(5, _("5 seconds")), (10, _("10 seconds")), (30, _("half a minute"))]


class SeasonAskForm(forms.Form):
    """From which Monday, how many weeks, and how long to search for each week's rounds."""

    first_day = DayField(label=_("From the Monday"))
    weeks = forms.IntegerField(label=_("Weeks"), min_value=FEWEST_WEEKS, max_value=MOST_WEEKS)
    seconds = forms.TypedChoiceField(label=_("Search each week for"), choices=SEARCHES, coerce=int)

    def __init__(self, today: date, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"first_day": next_monday(today), "weeks": 12, "seconds": 10})
        super().__init__(*args, **kwargs)

    def plan(self) -> SeasonPlan:
        """The plan asked for, not yet stored."""
        return SeasonPlan(**self.cleaned_data)
