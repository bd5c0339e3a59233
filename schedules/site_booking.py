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
from schedules.models import MaintenanceTask, Visit
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

    def __init__(self, site: Site, today: date, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
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
        """Whether the home has anything left that a visit could be for."""
        return bool({"slots", "tasks"} & self.fields.keys())


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
