"""What was loaded into a van for a day."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class VanTick(models.Model):
    """One line of the day's van list, ticked off: so many filters of a size, and of a medium if known."""

    technician = models.ForeignKey("Technician", on_delete=models.PROTECT, related_name="van_ticks")
    day = models.DateField(_("day"))
    size = models.CharField(_("size"), max_length=40)
    media = models.ForeignKey(
        "equipment.Media", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    count = models.PositiveSmallIntegerField(_("loaded"))
    at = models.DateTimeField(_("loaded at"))
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name = _("van tick")
        verbose_name_plural = _("van ticks")
        ordering = ["-day", "size"]
        constraints = [
            models.UniqueConstraint(fields=["technician", "day", "size", "media"], name="one_tick_a_line")
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.count} × {self.size}"
