"""What a filter's date was before it moved."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from schedules.models.plan import Plan


class DateBefore(models.Model):
    """A date that stood until ``until``, and what moved it. Rows are only added, and go by retention."""

    class Moved(models.TextChoices):
        FACT = "fact", _("something new on record")
        WEATHER = "weather", _("newer weather")
        DAY = "day", _("another day's reckoning")

    slot = models.ForeignKey("equipment.FilterSlot", on_delete=models.CASCADE, related_name="dates_before")
    due_on = models.DateField(_("due by"), null=True, blank=True)
    reason = models.CharField(_("reason"), max_length=10, choices=Plan.Reason.choices)
    p10_on = models.DateField(null=True, blank=True)
    p90_on = models.DateField(null=True, blank=True)
    life_began_on = models.DateField(null=True, blank=True)
    until = models.DateTimeField(_("until"), db_index=True)
    moved = models.CharField(_("moved by"), max_length=8, choices=Moved.choices)

    class Meta:
        verbose_name = _("date before")
        verbose_name_plural = _("dates before")
        ordering = ["-until"]

    def __str__(self) -> str:
        return f"{self.slot_id} due {self.due_on} until {self.until:%Y-%m-%d}"
