"""A trip to a site and the jobs it joins."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class Visit(models.Model):
    """One stop: due until it has a technician and a day."""

    class State(models.TextChoices):
        DUE = "due", _("due")
        SCHEDULED = "scheduled", _("scheduled")
        CONFIRMED = "confirmed", _("confirmed")
        UNDER_WAY = "under_way", _("under way")
        COMPLETED = "completed", _("completed")
        NO_ACCESS = "no_access", _("no-access")
        DISPLACED = "displaced", _("displaced")
        CANCELLED = "cancelled", _("cancelled")

    OPEN = (State.DUE, State.SCHEDULED, State.CONFIRMED, State.UNDER_WAY, State.DISPLACED)
    ON_A_DAY = (State.SCHEDULED, State.CONFIRMED, State.UNDER_WAY)

    site = models.ForeignKey("equipment.Site", on_delete=models.PROTECT, related_name="visits")
    state = models.CharField(_("state"), max_length=10, choices=State.choices, default=State.DUE)
    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    day = models.DateField(_("day"), null=True, blank=True)
    window_from = models.TimeField(_("not before"), null=True, blank=True)
    window_to = models.TimeField(_("not after"), null=True, blank=True)
    # The manager holds it to its technician and day.
    pinned = models.BooleanField(_("held"), default=False)
    minutes = models.PositiveIntegerField(_("minutes"), default=30)
    skills = models.JSONField(_("skills"), default=list, blank=True)
    stop_number = models.PositiveIntegerField(_("stop"), null=True, blank=True)
    arrive_at = models.DateTimeField(_("arrives"), null=True, blank=True)
    leave_at = models.DateTimeField(_("leaves"), null=True, blank=True)
    # When the technician said so at the door.
    arrived_at = models.DateTimeField(_("arrived at"), null=True, blank=True)
    completed_at = models.DateTimeField(_("completed at"), null=True, blank=True)
    # From which day it was last displaced, and how often it was.
    displaced_from = models.DateField(_("displaced from"), null=True, blank=True)
    times_displaced = models.PositiveSmallIntegerField(_("times displaced"), default=0)
    # What somebody rang for, beside filters and tasks.
    wanted = models.CharField(_("wanted"), max_length=200, blank=True)
    note = models.TextField(_("note"), blank=True)
    findings = models.TextField(_("findings"), blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("visit")
        verbose_name_plural = _("visits")
        indexes = [models.Index(fields=["day", "technician", "stop_number"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(window_from__isnull=True)
                | Q(window_to__isnull=True)
                | Q(window_to__gte=F("window_from")),
                name="visit_window_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["scheduled", "confirmed", "under_way"])
                | Q(technician__isnull=False, day__isnull=False),
                name="scheduled_visit_has_its_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.day or ''} {self.state}"

    def forget_times(self) -> None:
        """Take it out of its day's order, unsaved."""
        self.stop_number = self.arrive_at = self.leave_at = None

    @property
    def is_open(self) -> bool:
        """Whether something is still to be done."""
        return self.state in self.OPEN


class VisitJob(models.Model):
    """A filter or a task that the visit takes care of."""

    visit = models.ForeignKey("Visit", on_delete=models.CASCADE, related_name="jobs")
    slot = models.ForeignKey(
        "equipment.FilterSlot", null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    task = models.ForeignKey(
        "MaintenanceTask", null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    done = models.BooleanField(_("done"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(slot__isnull=False, task__isnull=True) | Q(slot__isnull=True, task__isnull=False),
                name="job_is_a_filter_or_a_task",
            ),
            models.UniqueConstraint(fields=["visit", "slot"], name="slot_once_a_visit"),
            models.UniqueConstraint(fields=["visit", "task"], name="task_once_a_visit"),
        ]

    def __str__(self) -> str:
        return f"{self.visit_id}: {self.slot or self.task}"
