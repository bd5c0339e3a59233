"""What every run behind the pages tells of itself."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class BackgroundRun(models.Model):
    """Asked for, taken by one worker, watched, stopped or done."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("being worked out")
        READY = "ready", _("ready")
        TAKEN = "taken", _("taken over")
        STOPPED = "stopped", _("stopped")
        FAILED = "failed", _("failed")

    state = models.CharField(_("state"), max_length=8, choices=State.choices, default=State.WAITING)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    heard_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    progress = models.FloatField(default=0.0)
    stop_asked = models.BooleanField(default=False)
    why = models.TextField(blank=True)

    class Meta:
        abstract = True
        ordering = ["-pk"]

    @property
    def is_open(self) -> bool:
        """Whether it is still to be worked out."""
        return self.state in (self.State.WAITING, self.State.RUNNING)
