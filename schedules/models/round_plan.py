"""A plan of several days' rounds: asked for, worked out behind the pages, taken or left."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class RoundPlan(models.Model):
    """One run: what was asked, how far it is, and the proposal that came of it."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("being worked out")
        READY = "ready", _("ready")
        TAKEN = "taken", _("taken over")
        STOPPED = "stopped", _("stopped")
        FAILED = "failed", _("failed")

    state = models.CharField(_("state"), max_length=8, choices=State.choices, default=State.WAITING)
    first_day = models.DateField(_("first day"))
    last_day = models.DateField(_("last day"))
    seconds = models.PositiveIntegerField(_("seconds of search"), default=30)
    may_move = models.BooleanField(_("booked visits may move"), default=False)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    heard_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    progress = models.FloatField(default=0.0)
    stop_asked = models.BooleanField(default=False)
    # schedules.rounds.Proposal as plain values.
    proposal = models.JSONField(default=dict, blank=True)
    why = models.TextField(blank=True)
    # What taking it over came to: booked, moved, refused with reasons.
    outcome = models.JSONField(default=dict, blank=True)

    class Meta:
        verbose_name = _("plan of rounds")
        verbose_name_plural = _("plans of rounds")
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.first_day} {self.state}"

    @property
    def is_open(self) -> bool:
        """Whether it is still to be worked out."""
        return self.state in (self.State.WAITING, self.State.RUNNING)
