"""The form that books a visit from a home's own page, whatever falls due when."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.models import FilterSlot, Site
from schedules.explain import say_day
from schedules.forms import BookForm
from schedules.models import MaintenanceTask, Technician, Visit
from schedules.visits import HORIZON_DAYS


class SlotChoice(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """Filters by size, place and due day."""

    def label_from_instance(self, obj: Any) -> str:
        """Such as ``16 × 25 × 1 in, hall: due 20 May 2026``."""
        plan = getattr(obj, "plan", None)
        return f"{obj.size}, {obj.location or obj.name}: {_when(plan.due_on if plan else None)}"


class TaskChoice(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """Maintenance tasks by name and due day."""

    def label_from_instance(self, obj: Any) -> str:
        """Such as ``Clean the drain: due 20 May 2026``."""
        return f"{obj.name}: {_when(obj.due_on)}"


class SiteBookForm(BookForm):
    """Who comes, when, and for which of the home's jobs that no open visit has yet."""

    slots = SlotChoice(
        FilterSlot.objects.none(),
        label=gettext_lazy("Filters to change"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    tasks = TaskChoice(
        MaintenanceTask.objects.none(),
        label=gettext_lazy("Tasks to do"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    wanted = forms.CharField(
        label=gettext_lazy("Something else, in a few words (no heat, water under the unit)"),
        required=False,
        max_length=200,
    )
    wanted_minutes = forms.IntegerField(
        label=gettext_lazy("Minutes for it"), required=False, initial=60, min_value=5, max_value=480
    )
    wanted_skill = forms.ChoiceField(label=gettext_lazy("Skill for it"), required=False)

    def __init__(self, site: Site, today: date, *args: Any, asks: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if asks:
            # Who comes is the question then.
            self.fields["technician"].required = self.fields["day"].required = False
        skill = self.fields["wanted_skill"]
        assert isinstance(skill, forms.ChoiceField)  # noqa: S101
        skill.choices = [("", gettext_lazy("none")), *((one, one) for one in _skills())]
        near = today + timedelta(days=HORIZON_DAYS)
        slots, tasks = free_slots(site), free_tasks(site)
        jobs = {
            "slots": (slots, slots.filter(plan__due_on__lte=near)),
            "tasks": (tasks, tasks.filter(due_on__lte=near)),
        }
        for name, (rows, ticked) in jobs.items():
            field = self.fields[name]
            assert isinstance(field, forms.ModelMultipleChoiceField)  # noqa: S101
            field.queryset = rows
            field.initial = [row.pk for row in ticked]
            if not rows.exists():
                del self.fields[name]
        self.fields["day"].initial = today + timedelta(days=1)

    @property
    def has_jobs(self) -> bool:
        """Whether the home has a filter or task left that a visit could be for."""
        return bool({"slots", "tasks"} & self.fields.keys())

    def clean_wanted(self) -> str:
        """In one line."""
        return " ".join(self.cleaned_data["wanted"].split())

    def clean_wanted_minutes(self) -> int:
        """An hour where nothing was written."""
        return int(self.cleaned_data["wanted_minutes"] or 60)


def _skills() -> list[str]:
    rows = Technician.objects.filter(gone_on=None).values_list("skills", flat=True)
    return sorted({skill for skills in rows for skill in skills})


def free_slots(site: Site) -> Any:
    """Filters of the home that are in use and part of no open visit, by due day."""
    rows = FilterSlot.objects.in_use().filter(system__site=site)
    free = rows.exclude(jobs__visit__state__in=Visit.OPEN).select_related("system__site", "plan")
    return free.order_by(F("plan__due_on").asc(nulls_last=True), "name")


def free_tasks(site: Site) -> Any:
    """Agreed tasks of the home that are part of no open visit, by due day."""
    rows = MaintenanceTask.objects.filter(system__site=site, ended_on=None, system__replaced_on=None)
    return rows.exclude(jobs__visit__state__in=Visit.OPEN).order_by(F("due_on").asc(nulls_last=True), "name")


def _when(day: date | None) -> str:
    return _("due %(day)s") % {"day": say_day(day)} if day else _("no date")
