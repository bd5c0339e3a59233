"""Planned maintenance beside filters."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class MaintenanceTask(models.Model):
    """Work on a system that returns: by days, by fan hours, or by the earlier of both."""

    class Season(models.TextChoices):
        ANY = "any", _("any time")
        SPRING = "spring", _("before the cooling season")
        AUTUMN = "autumn", _("before the heating season")

    system = models.ForeignKey("equipment.System", on_delete=models.PROTECT, related_name="tasks")
    name = models.CharField(_("task"), max_length=120)
    interval_days = models.PositiveIntegerField(_("every so many days"), null=True, blank=True)
    interval_fan_hours = models.FloatField(_("every so many fan hours"), null=True, blank=True)
    season = models.CharField(_("season"), max_length=8, choices=Season.choices, default=Season.ANY)
    minutes = models.PositiveIntegerField(_("minutes"), default=45)
    skill = models.CharField(_("skill"), max_length=40, blank=True)
    # Daily mean in degrees Celsius below which it is not to be planned: charge is read in warm weather.
    least_outdoors_c = models.FloatField(_("not while it is colder outdoors than"), null=True, blank=True)
    checklist = models.JSONField(_("checklist"), default=list, blank=True)
    last_done_on = models.DateField(_("last done on"), null=True, blank=True)
    due_on = models.DateField(_("due by"), null=True, blank=True, db_index=True)
    ended_on = models.DateField(_("ended on"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("maintenance task")
        constraints = [
            models.UniqueConstraint(fields=["system", "name"], name="one_task_a_name"),
            models.CheckConstraint(
                condition=Q(interval_days__gt=0) | Q(interval_fan_hours__gt=0), name="task_has_an_interval"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} · {self.system}"


class TaskDone(models.Model):
    """One time that a task was done."""

    task = models.ForeignKey("MaintenanceTask", on_delete=models.PROTECT, related_name="done")
    done_on = models.DateField(_("done on"))
    visit = models.ForeignKey("Visit", null=True, blank=True, on_delete=models.PROTECT)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-done_on"]
        constraints = [models.UniqueConstraint(fields=["task", "done_on"], name="task_once_a_day")]

    def __str__(self) -> str:
        return f"{self.task_id} {self.done_on}"
