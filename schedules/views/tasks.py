"""Planned maintenance beside filters."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import units_of
from schedules import due, tasks_due
from schedules.explain import say_day
from schedules.forms import TaskForm
from schedules.models import MaintenanceTask
from shared.units import TEMPERATURE, show


def page(request: HttpRequest) -> HttpResponse:
    """Tasks by due day; POST adds one."""
    units = units_of(request.user)
    form = TaskForm(units, request.POST or None)
    if request.method == "POST" and form.is_valid():
        task = tasks_due.agree(
            form.save(commit=False), form.cleaned_data["checklist_text"], due.today(timezone.now())
        )
        messages.success(request, _("The task is on record, due by %(day)s.") % {"day": say_day(task.due_on)})
        return redirect("tasks")
    status = 422 if request.method == "POST" else 200
    return render(request, "schedules/tasks.html", {**_agreed(units), "form": form}, status=status)


def _agreed(units: str) -> dict[str, Any]:
    """The tasks by due day, each with its rhythm in words and whether its day is past."""
    today = due.today(timezone.now())
    tasks = MaintenanceTask.objects.filter(ended_on=None, system__replaced_on=None)
    rows = [
        {
            "task": task,
            "rhythm": tasks_due.rhythm(task),
            "warm": "" if task.least_outdoors_c is None else show(task.least_outdoors_c, TEMPERATURE, units),
            "overdue": task.due_on is not None and task.due_on < today,
        }
        for task in tasks.select_related("system__site__customer").order_by("due_on", "pk")
    ]
    return {"rows": rows, "title": _title(len(rows), sum(bool(row["overdue"]) for row in rows))}


def _title(count: int, overdue: int) -> str:
    """A sentence that answers."""
    if not count:
        return _("No maintenance task is agreed yet")
    said = ngettext("%(n)d maintenance task is agreed", "%(n)d maintenance tasks are agreed", count)
    if not overdue:
        return _("%(said)s, none is overdue") % {"said": said % {"n": count}}
    late = ngettext("%(said)s, %(n)d is overdue", "%(said)s, %(n)d are overdue", overdue)
    return late % {"said": said % {"n": count}, "n": overdue}
