"""Forms of the filter's, the site's and the visit's pages."""

from datetime import datetime
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from equipment.airflow import design_airflow
from equipment.fields import DropField, HeightField, QuantityField, SizeField, TableField, use_units
from equipment.handover import label_drop, zone_of
from equipment.models import AirRecord, Desk, FilterSlot, LifeEvent, Media, Person, Site, SiteRole, System
from schedules.air_forms import READ_WHERE, VisitAirForm, ask_odd_airflow, ask_where
from schedules.bookable import NotBookable, Unsuited
from schedules.change_form import as_before, fitting
from schedules.day_field import DayField, DayInput
from schedules.drop_today import DropToday
from schedules.models import Defect, MaintenanceTask, Technician
from schedules.photo_field import PhotoField, again
from schedules.reading_checks import expected_now, prefix_of, slot_rules
from schedules.reading_rules import ask, readings, tell_browser
from schedules.seen_field import SeenBoxes
from schedules.texts import digits
from shared import units as quantities
from shared.units import AIRFLOW, CAPACITY, PRESSURE, TEMPERATURE

DAYS_A_YEAR = 365
# What one field of an entry may hold, in signs: no phone can send more.
LONGEST_TEXT = 4000
WARMEST_DAY_C = 32.0
LONGEST_INTERVAL_DAYS = 30 * 366


class EventForm(forms.Form):
    """A life event of a site."""

    kind = forms.ChoiceField(label=_("What happened"), choices=LifeEvent.Kind.choices)
    on = DayField(label=_("On"))
    person = forms.ModelChoiceField(Person.objects.none(), label=_("Who"), required=False)
    system = forms.ModelChoiceField(System.objects.none(), label=_("Which system"), required=False)
    slot = forms.ModelChoiceField(FilterSlot.objects.none(), label=_("Which slot"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=500)

    def __init__(self, site: Site, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = {
            "person": Person.objects.filter(roles__site=site, roles__until=None).distinct(),
            "system": System.objects.filter(site=site),
            "slot": FilterSlot.objects.filter(system__site=site),
        }
        for name, rows in choices.items():
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)  # noqa: S101
            field.queryset = rows


class PersonForm(forms.Form):
    """Somebody at a site and what they are there."""

    name = forms.CharField(label=_("Name"), max_length=200)
    email = forms.EmailField(label=_("Mail"), required=False, max_length=254)
    phone = forms.CharField(label=_("Phone"), required=False, max_length=40)
    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES, required=False)
    text_consent = forms.CharField(
        label=_("Agreed to text messages: when and how (empty: did not)"), required=False, max_length=120
    )
    roles = forms.MultipleChoiceField(
        label=_("Is here"), choices=SiteRole.Role.choices, widget=forms.CheckboxSelectMultiple
    )

    def clean(self) -> dict[str, Any]:
        """Consent to messages needs a number that they can go to."""
        data = super().clean() or {}
        if data.get("text_consent") and not digits(data.get("phone") or ""):
            self.add_error("phone", _("Text messages need a whole number."))
        return data

    def person(self, now: datetime) -> Person:
        """The person as written, not yet stored."""
        data = self.cleaned_data
        how = " ".join(data["text_consent"].split())
        return Person(
            name=data["name"], email=data["email"], phone=data["phone"], language=data["language"] or "en",
            text_consent_at=now if how else None, text_consent_how=how,
        )  # fmt: skip


class HandOverForm(forms.Form):
    """The install: who, where, what, and what was read; at a home on record its household is left out."""

    key = forms.CharField(widget=forms.HiddenInput, required=False, max_length=32)
    on = DayField(label=_("Day of the install"), required=False)
    customer = forms.CharField(label=_("Customer"), max_length=120)
    email = forms.EmailField(label=_("Mail"), required=False)
    phone = forms.CharField(label=_("Phone"), required=False, max_length=40)
    street = forms.CharField(label=_("Street"), max_length=200)
    city = forms.CharField(label=_("City"), required=False, max_length=80)
    region = forms.CharField(label=_("State or region"), required=False, max_length=80)
    postcode = forms.CharField(label=_("Postcode"), required=False, max_length=20)
    latitude = forms.FloatField(label=_("Latitude"), required=False, min_value=-90, max_value=90)
    longitude = forms.FloatField(label=_("Longitude"), required=False, min_value=-180, max_value=180)
    timezone = forms.ChoiceField(label=_("Time zone"), required=False)
    pets = forms.NullBooleanField(label=_("Pets"), required=False)
    cautions = forms.CharField(
        label=_("Cautions (attic, ladder, combustion appliances)"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    kind = forms.ChoiceField(
        label=_("System"), choices=[("", _("not known")), *System.Kind.choices], required=False
    )
    blower = forms.ChoiceField(
        label=_("Blower"), choices=[("", _("not known")), *System.Blower.choices], required=False
    )
    blower_table = TableField(label=_("Blower table, a line a point: airflow:static"), required=False)
    capacity = QuantityField(CAPACITY, label=_("Cooling capacity"), required=False)
    design_airflow = QuantityField(AIRFLOW, label=_("Design airflow, by the papers"), required=False)
    airflow = QuantityField(AIRFLOW, label=_("Airflow measured at the unit"), required=False)
    return_static = QuantityField(PRESSURE, label=_("Return static"), required=False)
    filter_in = forms.ChoiceField(
        label=_("Return static was read"),
        choices=READ_WHERE,
        required=False,
    )
    supply_static = QuantityField(PRESSURE, label=_("Supply static"), required=False)
    rated_static = QuantityField(PRESSURE, label=_("Rated external static"), required=False)
    return_budget = QuantityField(PRESSURE, label=_("Return side may take"), required=False)
    airflow_method = forms.CharField(label=_("How the airflow was measured"), required=False, max_length=80)
    sure = forms.BooleanField(
        label=_("The airflow was measured so"), required=False, widget=forms.HiddenInput
    )
    blower_tap = forms.CharField(label=_("Speed tap"), required=False, max_length=40)
    coil = forms.ChoiceField(
        label=_("Coil"), required=False, choices=[("", _("not noted")), *AirRecord.Coil.choices]
    )

    def __init__(self, units: str, *args: Any, home: Site | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_units(self, units)
        zone = self.fields["timezone"]
        assert isinstance(zone, forms.ChoiceField)  # noqa: S101
        zone.choices = _zones(str(self["postcode"].value() or ""))
        if home is not None:
            for name in (*self.HOUSEHOLD, "cautions"):
                del self.fields[name]

    HOUSEHOLD = (
        "customer", "email", "phone", "street", "city", "region", "postcode", "timezone",
        "latitude", "longitude", "pets",
    )  # fmt: skip
    MEASURED = (
        "on", "kind", "blower", "blower_table", "capacity", "design_airflow", "airflow",
        "airflow_method", "return_static", "filter_in", "supply_static", "rated_static",
        "return_budget", "blower_tap", "coil",
    )  # fmt: skip

    def household(self) -> list[forms.BoundField]:
        """Who and where."""
        return [self[name] for name in self.HOUSEHOLD if name in self.fields]

    def measured(self) -> list[forms.BoundField]:
        """What the manometer and the unit's plate say."""
        return [self[name] for name in (*self.MEASURED, "sure") if not self[name].is_hidden]

    def clean(self) -> dict[str, Any]:
        """Half a position is none."""
        data = super().clean() or {}
        given = {name: data.get(name) is not None for name in ("latitude", "longitude")}
        for name, there in given.items():
            if not there and any(given.values()) and name not in self.errors:
                self.add_error(name, _("A position needs both latitude and longitude."))
        told = {"kind": data.get("kind") or "", "capacity_w": data.get("capacity")}
        trial = System(**told, design_airflow_m3s=data.get("design_airflow"))
        ask_odd_airflow(self, design_airflow(trial)[0])
        ask_where(self, data)
        return data


# One for each clock that is kept there.
_UNITED_STATES = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix", "America/Los_Angeles",
    "America/Anchorage", "America/Adak", "Pacific/Honolulu", "America/Puerto_Rico", "Pacific/Guam",
)  # fmt: skip


def _zones(postcode: str) -> list[tuple[str, Any]]:
    """The postcode's or the desk's zone first, then the others of its part of the world."""
    usual = zone_of(postcode) or Desk.the().timezone
    part = f"{usual.split('/')[0]}/"
    every = sorted(available_timezones())
    near = _UNITED_STATES if usual in _UNITED_STATES else [name for name in every if name.startswith(part)]
    by_itself = _("by the postcode, else %(zone)s") % {"zone": usual}
    first = f"{usual} (%s)" % _("by the postcode") if zone_of(postcode) else by_itself
    return [("", first), *((name, name) for name in near)]


class HandOverSlotForm(forms.Form):
    """One slot of the install; left wholly empty it is no slot."""

    size = SizeField(label=_("Nominal size"), required=False)
    location = forms.CharField(label=_("Where it is"), required=False, max_length=200)
    access_notes = forms.CharField(label=_("How to reach it"), required=False, max_length=500)
    height = HeightField(label=_("How high above the floor"), required=False)
    medium = forms.ModelChoiceField(
        Media.objects.order_by("nominal_size", "merv"),
        label=_("Filter fitted"),
        required=False,
        empty_label=_("not known"),
    )
    clean_drop = DropField(label=_("Drop with the clean filter"), required=False)
    airflow = QuantityField(AIRFLOW, label=_("Airflow through it"), required=False)
    changed_by = forms.ChoiceField(
        label=_("Changed by"), choices=FilterSlot.ChangedBy.choices, required=False
    )
    sure = forms.BooleanField(
        label=_("The drop was read so, with the clean filter"), required=False, widget=forms.HiddenInput
    )

    def __init__(self, *args: Any, units: str = "ip", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_units(self, units)

    def clean(self) -> dict[str, Any]:
        """A slot needs its size; a medium must be of that size."""
        data = super().clean() or {}
        said = [name for name, value in data.items() if value and name not in ("changed_by", "sure")]
        if said and data.get("size") is None and "size" not in self.errors:
            self.add_error("size", _("Write the size that the label gives, such as 16x25x1."))
        media, size = data.get("medium"), data.get("size")
        if media and size and media.nominal_size != size.label:
            self.add_error("medium", _("This filter is another size than the slot."))
        if data.get("clean_drop") is not None:
            self._check_drop(data)
        return data

    def _check_drop(self, data: dict[str, Any]) -> None:
        """Refuse a drop that no clean filter has; have one far above the label confirmed."""
        drop, unit = data["clean_drop"], self.fields["clean_drop"]
        assert isinstance(unit, QuantityField)  # noqa: S101
        if drop > HIGHEST_CLEAN_PA:
            high = quantities.show(HIGHEST_CLEAN_PA, PRESSURE, unit.system)
            self.add_error("clean_drop", _("No clean filter takes more than %(high)s.") % {"high": high})
            return
        label = label_drop(data["medium"], data.get("airflow")) if data.get("medium") else None
        if drop <= (ODD_WITHOUT_LABEL_PA if label is None else TIMES_LABEL * label):
            return
        self.fields["sure"].widget = forms.CheckboxInput()
        if data.get("sure"):
            return
        again = _("Read it again, or say below that it was read so, with the clean filter.")
        why = str(_("That is much for a clean filter."))
        if label is not None:
            said = quantities.show(label, PRESSURE, unit.system)
            why = _("The label gives %(drop)s for the clean filter.") % {"drop": said}
        self.add_error("clean_drop", f"{why} {again}")


HIGHEST_CLEAN_PA = quantities.inwc(5)
ODD_WITHOUT_LABEL_PA = quantities.inwc(1)
TIMES_LABEL = 3
MOST_SLOTS = 12
HandOverSlots = forms.formset_factory(HandOverSlotForm, extra=1, max_num=MOST_SLOTS)


class BookForm(forms.Form):
    """Who comes, and when."""

    technician = forms.ModelChoiceField(Technician.objects.filter(gone_on=None), label=_("Technician"))
    day = DayField(label=_("Day"))
    window_from = forms.TimeField(
        label=_("Not before"), required=False, widget=forms.TimeInput(attrs={"type": "time"})
    )
    window_to = forms.TimeField(
        label=_("Not after"), required=False, widget=forms.TimeInput(attrs={"type": "time"})
    )
    sure = forms.BooleanField(label=_("Book it all the same"), required=False, widget=forms.HiddenInput)

    @property
    def is_sure(self) -> bool:
        """Whether what is unusual was seen and is wanted."""
        return bool(self.cleaned_data.get("sure"))

    def refuse(self, error: NotBookable) -> None:
        """Say why it cannot be booked; what is merely unusual may be confirmed."""
        self.add_error(None, str(error))
        if isinstance(error, Unsuited):
            self.fields["sure"].widget = forms.CheckboxInput()


class CompleteForm(forms.Form):
    """What holds for the whole visit."""

    seen = forms.MultipleChoiceField(
        label=_("What is not right there"),
        required=False,
        choices=Defect.Kind.choices[:-1],
        widget=SeenBoxes,
    )
    findings = forms.CharField(
        label=_("Findings"),
        required=False,
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    note = forms.CharField(
        label=_("Note"),
        required=False,
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class JobFilterForm(forms.Form):
    """One filter of a visit."""

    drop_before = DropField(label=_("Drop of the old filter"), required=False)
    changed = forms.BooleanField(label=_("Changed"), required=False, initial=True)
    medium = forms.ModelChoiceField(Media.objects.none(), label=_("Filter fitted"), required=False)
    drop_after = DropField(label=_("Drop of the clean filter"), required=False)
    airflow = QuantityField(AIRFLOW, label=_("Airflow through it"), required=False)
    photo = PhotoField(label=_("Photograph of filter and frame"), required=False)
    sure = forms.BooleanField(label=_("I looked again: it is so"), required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        slot: FilterSlot,
        units: str,
        data: Any = None,
        files: Any = None,
        today: DropToday | None = None,
    ) -> None:
        super().__init__(data, files, prefix=prefix_of(slot))
        self.slot, self.units = slot, units
        use_units(self, units)
        if expected := expected_now(slot, units, today):
            self.fields["drop_before"].label = f"{self.fields['drop_before'].label} ({expected})"
        choice = self.fields["medium"]
        assert isinstance(choice, forms.ModelChoiceField)  # noqa: S101
        choice.queryset = fitting(slot)
        choice.empty_label = as_before(slot)
        self.rules = slot_rules(slot, units, today)
        tell_browser(self, self.rules)

    def clean(self) -> dict[str, Any]:
        """Ask where a reading is not as it should be, unless somebody looked again."""
        data = super().clean() or {}
        air = VisitAirForm(self.slot.system, self.units, self.data)
        air.full_clean()
        ask(self, self.rules, readings(self) | readings(air), self.units)
        self._ask_of_nothing(data)
        return data

    def _ask_of_nothing(self, data: dict[str, Any]) -> None:
        """A change that nothing was written of is likelier a button pressed too soon."""
        told = [data.get(name) for name in ("drop_before", "drop_after", "airflow", "photo", "medium")]
        # From a phone the photograph comes by itself, and its name stands in its place.
        told.append(self.data.get(self.add_prefix("photo")))
        if not data.get("changed") or data.get("sure") or self.errors or any(one is not None for one in told):
            return
        self.fields["sure"].widget = forms.CheckboxInput()
        self.add_error("changed", _("Nothing was read or photographed here: was this filter changed?"))

    def ask_for_photo_again(self) -> None:
        """Say at the field that a page which comes back cannot keep a chosen file."""
        if self.files.get(self.add_prefix("photo")) and "photo" not in self.errors:
            self.add_error("photo", again())


class TaskForm(forms.ModelForm):  # type: ignore[type-arg]
    """A maintenance task of a system."""

    checklist_text = forms.CharField(
        label=_("Checklist, one line a point"), required=False, widget=forms.Textarea(attrs={"rows": 4})
    )

    least_outdoors = QuantityField(
        TEMPERATURE, low=-60.0, label=_("Not while it is colder outdoors than"), required=False
    )

    visits_a_year = forms.IntegerField(
        label=_("Or so many visits a year, as agreed"), required=False, min_value=1, max_value=12
    )

    def __init__(self, units: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_units(self, units)

    class Meta:
        model = MaintenanceTask
        fields = [
            "system",
            "name",
            "interval_days",
            "interval_fan_hours",
            "season",
            "minutes",
            "skill",
            "last_done_on",
        ]
        widgets = {"last_done_on": DayInput()}

    def clean(self) -> dict[str, Any]:
        """A task comes back by days or by fan hours."""
        data = super().clean() or {}
        self.instance.least_outdoors_c = data.get("least_outdoors")
        if (data.get("least_outdoors") or 0.0) > WARMEST_DAY_C:
            self.add_error("least_outdoors", _("is warmer than any day here; check the unit"))
        if data.get("visits_a_year"):
            self._agree_on_visits(data)
        if (data.get("interval_days") or 0) > LONGEST_INTERVAL_DAYS:
            self.add_error("interval_days", _("is longer than any equipment lives"))
        if not 0 <= (data.get("interval_fan_hours") or 0) <= LONGEST_INTERVAL_DAYS * 24:
            self.add_error("interval_fan_hours", _("is longer than any equipment lives"))
        if not data.get("interval_days") and not data.get("interval_fan_hours"):
            raise forms.ValidationError(_("Say after how many days or fan hours the task comes back."))
        return data

    def _agree_on_visits(self, data: dict[str, Any]) -> None:
        """Visits agreed for a year come evenly, whatever the fan did."""
        if data.get("interval_days") or data.get("interval_fan_hours"):
            self.add_error("visits_a_year", _("Either so many visits a year, or days and fan hours."))
            return
        data["interval_days"] = self.instance.interval_days = round(DAYS_A_YEAR / data["visits_a_year"])
