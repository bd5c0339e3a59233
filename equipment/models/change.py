"""A filter taken out and another put in."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class FilterChange(models.Model):
    """``changed_at`` is the instant from which the new filter counts: the end of ``changed_on``
    where only the day is known, so that the day's readings belong to the filter removed."""

    class Told(models.TextChoices):
        OCCUPANT = "occupant", _("told by the occupant")
        TECHNICIAN = "technician", _("verified by a technician")
        DESK = "desk", _("written down at the desk")
        PROGRAM = "program", _("written down by a program of the desk")
        SHEET = "sheet", _("from a sheet")

    slot = models.ForeignKey("FilterSlot", on_delete=models.PROTECT, related_name="changes")
    changed_on = models.DateField(_("changed on"))
    changed_at = models.DateTimeField()
    media = models.ForeignKey("Media", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    changed_by = models.CharField(_("changed by"), max_length=12, blank=True)
    told = models.CharField(_("known from"), max_length=12, choices=Told.choices, default=Told.SHEET)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_at = models.DateTimeField(_("taken back at"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("filter change")
        verbose_name_plural = _("filter changes")
        ordering = ["changed_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["slot", "changed_at"],
                condition=models.Q(undone_at__isnull=True),
                name="one_change_an_instant",
            )
        ]

    def __str__(self) -> str:
        return f"{self.slot_id} {self.changed_on}"
