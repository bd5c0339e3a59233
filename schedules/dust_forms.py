"""Forms that tell of unusual dust, at a home or over a place."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.dust import Dusty
from equipment.models import DustEpisode, Station
from schedules.day_field import DayField


class EpisodeForm(forms.Form):
    """What it is, from which day to which, and how many times the usual dust."""

    kind = forms.ChoiceField(
        label=gettext_lazy("What it is"),
        choices=DustEpisode.Kind.choices,
        initial=DustEpisode.Kind.RENOVATION,
    )
    first_day = DayField(label=gettext_lazy("From"))
    last_day = DayField(label=gettext_lazy("To"))
    factor = forms.FloatField(
        label=gettext_lazy("How many times the usual dust"),
        initial=3,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )

    def what(self) -> Dusty:
        """What was typed, after ``is_valid``."""
        return Dusty(
            **{name: self.cleaned_data[name] for name in ("kind", "first_day", "last_day", "factor")}
        )


class PlaceEpisodeForm(EpisodeForm):
    """The same over a town, a region, or the homes of a weather station."""

    place = forms.CharField(label=gettext_lazy("Town or region"), required=False, max_length=170)
    station = forms.ModelChoiceField(
        Station.objects.order_by("name"),
        label=gettext_lazy("Or the homes of a weather station"),
        required=False,
        empty_label=gettext_lazy("none"),
    )
    field_order = ("place", "station", "kind", "first_day", "last_day", "factor")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].initial = DustEpisode.Kind.SMOKE

    def clean(self) -> dict[str, Any]:
        """One of place and station."""
        data = super().clean() or {}
        if bool(data.get("place")) == bool(data.get("station")) and "station" not in self.errors:
            raise forms.ValidationError(_("Name a town or region, or a weather station: one of them."))
        return data

    def where(self) -> Station | str:
        """The station or the place that was named, after ``is_valid``."""
        station: Station | None = self.cleaned_data["station"]
        return station or str(self.cleaned_data["place"])
