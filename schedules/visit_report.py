"""What a technician tells of a visit: the same forms behind the page and behind what a phone sends later."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext as _

from equipment.fields import whole_number
from equipment.models import FilterSlot
from schedules.air_forms import VisitAirForm
from schedules.drop_today import drops_today
from schedules.forms import CompleteForm, JobFilterForm
from schedules.models import MaintenanceTask, Visit
from schedules.visits import FilterDone, Outcome
from shared.units import has_unit

SLOT_PREFIX = "slot"


class VisitReport:
    """One form a filter, one a system that the visit touches, one for the whole.

    ``data`` is what was typed, in the units that it names itself under ``units``, else in ``units``; without
    it the forms are empty; ``files`` holds photographs. Filters of the home that it speaks of beyond the
    visit's own have their form too, those retired meanwhile only with ``retired_too``. With ``now`` they say
    what a meter should show then.
    """

    def __init__(
        self,
        visit: Visit,
        units: str,
        data: QueryDict | None = None,
        files: Any = None,
        now: datetime | None = None,
        retired_too: bool = False,
    ) -> None:
        self.visit, self.data, self.retired_too = visit, data, retired_too
        named = str(data.get("units") or "") if data else ""
        self.units = named if named in ("ip", "si") else units
        slots = self._slots()
        # What was typed is judged without it.
        spans = drops_today(slots, now) if now is not None else {}
        self.filters = [JobFilterForm(slot, self.units, data, files, spans.get(slot.pk)) for slot in slots]
        self.air = [VisitAirForm(system, self.units, data) for system in self._systems()]
        self.whole = CompleteForm(data)

    @property
    def told(self) -> bool:
        """Whether anything was typed."""
        return self.data is not None

    @property
    def forms(self) -> list[forms.Form]:
        """All of its forms."""
        return [*self.filters, *self.air, self.whole]

    def _slots(self) -> list[FilterSlot]:
        jobs = self.visit.jobs.filter(slot__isnull=False).order_by("pk")
        own = list(jobs.values_list("slot", flat=True))
        beyond = sorted(slots_named(self.data) - set(own)) if self.data else []
        rows = FilterSlot.objects.filter(pk__in=[*own, *beyond], system__site=self.visit.site_id)
        if not self.retired_too:
            rows = rows.filter(retired_on=None, system__replaced_on=None)
        found = rows.select_related("system__site", "first_media", "plan").in_bulk()
        return [found[pk] for pk in [*own, *beyond] if pk in found]

    def _systems(self) -> list[Any]:
        jobs = self.visit.jobs.select_related("slot__system", "task__system")
        parts = [job.slot or job.task for job in jobs]
        systems = {part.system_id: part.system for part in parts if part}
        return [systems[pk] for pk in sorted(systems)]

    @property
    def tasks_done(self) -> list[MaintenanceTask]:
        """The visit's tasks that were ticked."""
        ticked = [whole_number(value) for value in self.data.getlist("task")] if self.data else []
        return list(MaintenanceTask.objects.filter(jobs__visit=self.visit, pk__in=ticked))

    def is_valid(self) -> bool:
        """Whether all of it can be so; every form is asked, so that every fault is shown."""
        valid = [part.is_valid() for part in self.forms]
        return all(valid)

    def ask_for_photos_again(self) -> None:
        """Say at every photograph that came with it that a page which comes back cannot keep it."""
        for part in self.filters:
            part.ask_for_photo_again()

    def faults(self) -> dict[str, list[str]]:
        """What is wrong, by the name of the field on the page; of a whole form under an empty name.

        The question whether somebody looked again stands there without a fault where it is asked.
        """
        found: dict[str, list[str]] = {}
        for part in self.forms:
            for name, errors in part.errors.items():
                key = "" if name == "__all__" else part.add_prefix(name)
                found.setdefault(key, []).extend(str(error) for error in errors)
            if "sure" in part.fields and not part.fields["sure"].widget.is_hidden:
                found.setdefault(part.add_prefix("sure"), [])  # asked, not faulty
        return found

    def outcome(self, at: datetime) -> Outcome:
        """The visit as told, ended at ``at``; for a valid report alone."""
        air = [(part.of, part.measured()) for part in self.air]
        done = [_done(part) for part in self.filters]
        return Outcome(at, done, self.tasks_done, air=air, **self.whole.cleaned_data)

    def in_words(self) -> list[tuple[str, str]]:
        """Label and text of every field that holds anything, in the order of the page."""
        told = [(form, form[name]) for form in self.forms for name in form.fields]
        fields = [
            (_label(form, field), _shown(field))
            for form, field in told
            if field.name not in ("sure", "photo") and field.value() not in (None, "", False, [])
        ]
        return [*fields, *((str(_("Task done")), task.name) for task in self.tasks_done)]


def slots_named(data: Mapping[str, Any]) -> set[int]:
    """The filters whose fields ``data`` holds."""
    named = (whole_number(name.split("-")[0].removeprefix(SLOT_PREFIX)) for name in data if _of_slot(name))
    return {pk for pk in named if pk is not None}


def _of_slot(name: str) -> bool:
    return name.startswith(SLOT_PREFIX) and "-" in name


def _label(form: forms.Form, field: forms.BoundField) -> str:
    """The field's own label, without what the page puts behind it."""
    own = form.base_fields.get(field.name, field.field).label
    slot = getattr(form, "slot", None)
    return f"{slot.location or slot.name}: {own}" if slot else str(own)


def _shown(field: forms.BoundField) -> str:
    if isinstance(field.field, forms.BooleanField):
        return str(_("yes"))
    value, unit = field.value(), getattr(field.field, "unit", "")
    if isinstance(field.field, forms.ModelChoiceField):
        row = field.field.queryset.filter(pk=whole_number(value)).first() if field.field.queryset else None
        return str(row) if row else str(value)
    if isinstance(field.field, forms.ChoiceField):
        choices: Any = field.field.choices
        words = dict(choices)
        told = value if isinstance(value, list) else [value]
        return ", ".join(str(words.get(one, one)) for one in told)
    return str(value) if has_unit(str(value)) else f"{value} {unit}".strip()


def _done(form: JobFilterForm) -> FilterDone:
    data = form.cleaned_data
    return FilterDone(
        form.slot,
        data["changed"],
        data["medium"],
        data["drop_before"],
        data["drop_after"],
        data["airflow"],
        data["photo"],
    )
