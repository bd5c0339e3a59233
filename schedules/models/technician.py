"""Who drives."""

from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _


def monday_to_friday() -> list[int]:
    """The usual week."""
    return [0, 1, 2, 3, 4]


class Technician(models.Model):
    """A technician with skills, hours of work, a place the day starts and ends, and room in the van."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="technician"
    )
    skills = models.JSONField(_("skills"), default=list, blank=True)
    day_starts = models.TimeField(_("day starts"), default=time(8))
    day_ends = models.TimeField(_("day ends"), default=time(17))
    start_latitude = models.FloatField(_("start latitude"), null=True, blank=True)
    start_longitude = models.FloatField(_("start longitude"), null=True, blank=True)
    depot = models.ForeignKey(
        "Depot", null=True, blank=True, on_delete=models.PROTECT, related_name="technicians"
    )
    # 0 is Monday.
    weekdays = models.JSONField(_("days of work"), default=monday_to_friday)
    van_room = models.PositiveIntegerField(_("filters the van holds"), default=40)
    gone_on = models.DateField(_("gone on"), null=True, blank=True)

    class Meta:
        verbose_name = _("technician")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(day_ends__gt=F("day_starts")), name="day_has_hours")
        ]

    def __str__(self) -> str:
        return self.name
