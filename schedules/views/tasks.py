"""Planned maintenance beside filters."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from schedules import due, tasks_due
from schedules.forms import TaskForm
from schedules.models import MaintenanceTask


def page(request: HttpRequest) -> HttpResponse:
    """Tasks by due day; POST adds one."""
    form = TaskForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        task: MaintenanceTask = form.save(commit=False)
        lines = form.cleaned_data["checklist_text"].splitlines()
        task.checklist = [line.strip() for line in lines if line.strip()]
        task.save()
        tasks_due.refresh(task, due.today(timezone.now()))
        messages.success(request, _("The task is on record, due by %(day)s.") % {"day": task.due_on})
        return redirect("tasks")
    rows = (
        MaintenanceTask.objects.filter(ended_on=None).select_related("system__site").order_by("due_on", "pk")
    )
    status = 422 if request.method == "POST" else 200
    return render(request, "schedules/tasks.html", {"tasks": rows, "form": form}, status=status)
