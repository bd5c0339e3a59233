"""Entries of one filter alone: a reading, a change, as the filter's page asks for them."""

from datetime import date, datetime

from django import forms
from django.utils.translation import gettext as _

from equipment.fields import whole_number
from equipment.models import Desk, FilterChange, FilterSlot
from equipment.record import NotRecordable, Told, changes_made, record_change
from schedules import due, visits
from schedules.change_form import ChangeForm
from schedules.models import FieldEntry
from schedules.reading_form import ReadingForm
from shared import clock

KINDS = (FieldEntry.Kind.READING, FieldEntry.Kind.CHANGED)
SlotForm = ReadingForm | ChangeForm


def is_gone(slot: FilterSlot) -> bool:
    """Whether no filter is put behind that grille any more."""
    return slot.retired_on is not None or slot.system.replaced_on is not None


def form_of(row: FieldEntry, slot: FilterSlot, units: str) -> SlotForm:
    """The entry in the form that it was written into, in the units that it names, else in ``units``."""
    if row.kind == FieldEntry.Kind.READING:
        named = row.data.get("units", "")
        return ReadingForm(slot, named if named in ("ip", "si") else units, row.data)
    return ChangeForm(slot, _day(row, slot), row.data)


def as_told(row: FieldEntry, slot: FilterSlot, units: str) -> tuple[SlotForm, str]:
    """The form of an entry of which nobody can be asked any more, and what would have been asked; what is
    merely unusual is taken. Raises NotRecordable where it cannot be so."""
    form = form_of(row, slot, units)
    if form.is_valid():
        return form, ""
    asked = " ".join(faults_in_words(form))
    if isinstance(form, ReadingForm):
        again = ReadingForm(slot, form.units, {**row.data.dict(), "sure": "on"})
        if again.is_valid():
            return again, asked
    raise NotRecordable(asked)


def _day(row: FieldEntry, slot: FilterSlot) -> date:
    return clock.local_day(row.at, slot.system.site.zone(Desk.the().timezone))


def told_already(slot: FilterSlot, form: SlotForm, now: datetime) -> bool:
    """Whether a valid form tells of a change that stands by ``now``, of its day or a later one."""
    if not isinstance(form, ChangeForm):
        return False
    return changes_made(slot, now).filter(changed_on__gte=form.cleaned_data["on"]).exists()


def write(row: FieldEntry, slot: FilterSlot, form: SlotForm) -> None:
    """Write a valid form down at the entry's own hour. Raises NotRecordable."""
    data, now = form.cleaned_data, row.received_at
    if isinstance(form, ReadingForm):
        visits.write_reading(slot, row.at, data["filter_drop"], data["airflow"], row.user, now)
        # One at a time, so that each has its history.
        for one in slot.readings.filter(taken_at=row.at).exclude(airflow_method=data["airflow_method"]):
            one.airflow_method = data["airflow_method"]
            one.save(update_fields=["airflow_method"])
    else:
        told = Told(FilterChange.Told.TECHNICIAN, FilterSlot.ChangedBy.TECHNICIAN, row.user)
        at = row.at if data["on"] == _day(row, slot) else None
        record_change(slot, data["on"], data["medium"], told, now, at)
        visits.drop_done([slot.pk])
    due.replan(now, FilterSlot.objects.filter(pk=slot.pk))


def count(row: FieldEntry, units: str) -> None:
    """Write down after all what waited to be judged. Raises NotRecordable, and then changes nothing."""
    slot = FilterSlot.objects.select_related("system__site").filter(pk=row.slot_id or 0).first()
    if slot is None or is_gone(slot):
        raise NotRecordable(_("Its filter is not on record any more."))
    form, _asked = as_told(row, slot, units)
    write(row, slot, form)


def faults(form: SlotForm) -> dict[str, list[str]]:
    """What is wrong, by the name of the field on the page; of the whole form under an empty name."""
    found = {
        "" if name == "__all__" else name: [str(error) for error in errors]
        for name, errors in form.errors.items()
    }
    if isinstance(form, ReadingForm) and not form.fields["sure"].widget.is_hidden:
        found.setdefault("sure", [])  # asked, not faulty
    return found


def faults_in_words(form: SlotForm) -> list[str]:
    """The same, each with its field's label."""
    return [
        f"{form.fields[name].label}: {text}" if name else text
        for name, texts in faults(form).items()
        for text in texts
    ]


def in_words(row: FieldEntry, units: str) -> list[tuple[str, str]]:
    """Label and text of what was typed; by the fields' names where the filter is gone."""
    if row.slot is None:
        return [(name, ", ".join(values)) for name, values in row.fields.items() if name != "units"]
    form = form_of(row, row.slot, units)
    told = ((field, str(field.value() or "")) for field in form if field.name != "sure")
    return [(str(field.label), _shown(field, text)) for field, text in told if text]


def _shown(field: forms.BoundField, text: str) -> str:
    if isinstance(field.field, forms.ModelChoiceField):
        medium = field.field.queryset.filter(pk=whole_number(text)).first() if field.field.queryset else None
        return str(medium or text)
    unit = getattr(field.field, "unit", "")
    return f"{text} {unit}" if unit and not any(sign.isalpha() for sign in text) else text
