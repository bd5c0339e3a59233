"""Forms about rounds: what to plan, who works when, from where, and what suits a home."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from equipment.fields import QuantityField, use_units
from schedules import slow_hours
from schedules.day_field import DayField
from schedules.models import Absence, Depot, HomeHours, Policy, RoundPlan, Technician
from shared.units import ROAD_SPEED, number

WEEKDAYS = [
    (0, _("Monday")), (1, _("Tuesday")), (2, _("Wednesday")), (3, _("Thursday")), (4, _("Friday")),
    (5, _("Saturday")), (6, _("Sunday")),
]  # fmt: skip
MOST_ROOM = 2000
# Degrees about the point of latitude and longitude nought that no van starts from.
NOWHERE = 0.5
SLOWEST_MS, FASTEST_MS = 2.0, 35.0
SEARCHES = [(10, _("10 seconds")), (30, _("half a minute")), (120, _("2 minutes")), (600, _("10 minutes"))]


class _TimeInput(forms.TimeInput):
    input_type = "time"


class AskForm(forms.Form):
    """Which days, how long to search, and whether booked visits may move."""

    first_day = DayField(label=_("From"))
    last_day = DayField(label=_("To"))
    seconds = forms.TypedChoiceField(label=_("Search for"), choices=SEARCHES, coerce=int, initial=30)
    may_move = forms.BooleanField(
        label=_("Booked visits may move, where nobody was told of them and they are not held"), required=False
    )

    def __init__(self, today: date, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault(
            "initial", {"first_day": today + timedelta(days=1), "last_day": today + timedelta(days=10)}
        )
        super().__init__(*args, **kwargs)

    def plan(self) -> RoundPlan:
        """The plan asked for, not yet stored."""
        return RoundPlan(**self.cleaned_data)


class WeekdaysField(forms.TypedMultipleChoiceField):
    """Days of the week as numbers, 0 for Monday."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=WEEKDAYS, coerce=int, widget=forms.CheckboxSelectMultiple, **kwargs)


class TechnicianForm(forms.ModelForm):  # type: ignore[type-arg]
    """A technician: skills as words, hours, where the day begins, room in the van."""

    skills_text = forms.CharField(label=_("Skills, parted by commas"), required=False, max_length=300)
    weekdays = WeekdaysField(label=_("Days of work"))

    class Meta:
        model = Technician
        fields = [
            "name", "day_starts", "day_ends", "depot", "start_latitude", "start_longitude", "van_room",
            "weekdays",
        ]  # fmt: skip
        widgets = {"day_starts": _TimeInput(format="%H:%M"), "day_ends": _TimeInput(format="%H:%M")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["skills_text"].initial = ", ".join(self.instance.skills)
        if not self.is_bound and self.instance.pk is None:
            self.initial["weekdays"] = [0, 1, 2, 3, 4]

    def clean(self) -> dict[str, Any]:
        """A place is whole and on the globe; a day has hours."""
        data = super().clean() or {}
        place = data.get("start_latitude"), data.get("start_longitude")
        if (place[0] is None) != (place[1] is None):
            self.add_error("start_latitude", _("A place needs both latitude and longitude."))
        elif place[0] is not None:
            _refuse_nowhere(self, "start_latitude", place)
        self._refuse_namesake(data.get("name") or "")
        starts, ends = data.get("day_starts"), data.get("day_ends")
        if starts and ends and ends <= starts:
            self.add_error("day_ends", _("The day ends before it begins. Shifts over midnight: split them."))
        return data

    def clean_van_room(self) -> int:
        """A room that a van has."""
        room: int = self.cleaned_data["van_room"]
        if not 1 <= room <= MOST_ROOM:
            raise forms.ValidationError(_("A van holds from 1 to %(n)d filters.") % {"n": MOST_ROOM})
        return room

    def _refuse_namesake(self, name: str) -> None:
        """Two names that differ in case alone would be one person written down twice."""
        others = Technician.objects.filter(name__iexact=name).exclude(pk=self.instance.pk)
        other = others.first()
        if other is None:
            return
        said = _("There is a %(name)s already: two of one name cannot be told apart.")
        if other.gone_on:
            said = _("%(name)s is on record as no longer working here: bring them back instead.")
        self.add_error("name", said % {"name": other.name})

    def save(self, commit: bool = True) -> Technician:
        """The technician with skills as a list."""
        words = self.cleaned_data["skills_text"].split(",")
        self.instance.skills = sorted({word.strip().lower() for word in words if word.strip()})
        technician: Technician = super().save(commit)
        return technician


class RoadsForm(forms.Form):
    """How fast the roads are, and how far ahead a household hears of a visit that it did not ask for."""

    speed = QuantityField(ROAD_SPEED, label=_("Mean speed on the road"))
    slow_hours = forms.CharField(
        label=_("Slow hours from Monday to Friday and the share of that speed, a line each"),
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    visit_notice_days = forms.IntegerField(
        label=_("Days ahead that a household is told of a visit that it did not ask for"),
        min_value=0,
        max_value=60,
    )

    def __init__(self, policy: Policy, units: str, *args: Any, **kwargs: Any) -> None:
        self.policy = policy
        kwargs.setdefault(
            "initial",
            {
                "speed": number(policy.road_speed_ms, ROAD_SPEED, units),
                "slow_hours": slow_hours.write(policy.slow_hours),
                "visit_notice_days": policy.visit_notice_days,
            },
        )
        super().__init__(*args, **kwargs)
        use_units(self, units)

    def clean_speed(self) -> float:
        """A speed that vans have; what nobody retyped keeps its digits."""
        speed: float = self.cleaned_data["speed"]
        if "speed" not in self.changed_data:
            return self.policy.road_speed_ms
        if not SLOWEST_MS <= speed <= FASTEST_MS:
            raise forms.ValidationError(_("No van drives at that speed on the mean: is the unit right?"))
        return speed

    def clean_slow_hours(self) -> list[list[str | int]]:
        """The lines as spans."""
        try:
            return slow_hours.read(self.cleaned_data["slow_hours"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from None

    def save(self) -> None:
        """Store it."""
        data = self.cleaned_data
        Policy.objects.filter(pk=self.policy.pk).update(
            road_speed_ms=data["speed"],
            slow_hours=data["slow_hours"],
            visit_notice_days=data["visit_notice_days"],
        )


class DepotForm(forms.ModelForm):  # type: ignore[type-arg]
    """A branch that vans start from."""

    class Meta:
        model = Depot
        fields = ["name", "street", "latitude", "longitude"]

    def clean(self) -> dict[str, Any]:
        """A depot is somewhere."""
        data = super().clean() or {}
        place = data.get("latitude"), data.get("longitude")
        if None not in place:
            _refuse_nowhere(self, "latitude", place)
        return data


def _refuse_nowhere(form: forms.BaseForm, field: str, place: tuple[float | None, float | None]) -> None:
    """Say of a place that it is none: off the globe, or where an empty cell leads."""
    latitude, longitude = place[0] or 0.0, place[1] or 0.0
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        form.add_error(field, _("There is no such place on the globe."))
    elif abs(latitude) < NOWHERE and abs(longitude) < NOWHERE:
        form.add_error(field, _("That is in the sea, where missing figures lead: look it up again."))


class AbsenceForm(forms.ModelForm):  # type: ignore[type-arg]
    """Leave of somebody, or a day off for all."""

    first_day = DayField(label=_("First day"))
    last_day = DayField(label=_("Last day"))

    class Meta:
        model = Absence
        fields = ["technician", "first_day", "last_day", "why"]

    def __init__(self, today: date, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        who = self.fields["technician"]
        assert isinstance(who, forms.ModelChoiceField)  # noqa: S101
        who.queryset = Technician.objects.filter(gone_on=None)
        who.empty_label = str(_("the whole desk"))

    def clean(self) -> dict[str, Any]:
        """The last day is not before the first."""
        data = super().clean() or {}
        first, last = data.get("first_day"), data.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", _("The last day lies before the first."))
        elif last and last < self.today:
            self.add_error("last_day", _("These days are past."))
        elif first and last and self._stands(data):
            self.add_error("first_day", _("That is on record already."))
        return data

    def _stands(self, data: dict[str, Any]) -> bool:
        """Whether the same days are on record, of the same person or of the whole desk."""
        rows = Absence.objects.filter(withdrawn_at=None, technician=data.get("technician"))
        return rows.filter(first_day__lte=data["first_day"], last_day__gte=data["last_day"]).exists()


class HomeHoursForm(forms.ModelForm):  # type: ignore[type-arg]
    """What suits a home."""

    weekdays = WeekdaysField(label=_("Days that suit (none: any)"), required=False)

    class Meta:
        model = HomeHours
        fields = ["weekdays", "not_before", "not_after", "not_by"]
        widgets = {
            "not_before": _TimeInput(format="%H:%M"),
            "not_after": _TimeInput(format="%H:%M"),
            "not_by": forms.CheckboxSelectMultiple,
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        who = self.fields["not_by"]
        assert isinstance(who, forms.ModelMultipleChoiceField)  # noqa: S101
        who.queryset = Technician.objects.filter(gone_on=None)

    def clean(self) -> dict[str, Any]:
        """Hours end after they begin."""
        data = super().clean() or {}
        first, last = data.get("not_before"), data.get("not_after")
        if first and last and last <= first:
            self.add_error("not_after", _("The hours end before they begin."))
        return data
