"""What a day's fan hours were before they were written over."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class RuntimeBefore(models.Model):
    """One value that was written over, when, and by what: a device, a sheet or an account. Only added."""

    system = models.ForeignKey("System", on_delete=models.PROTECT, related_name="runtime_before")
    day = models.DateField(_("day"))
    fan_hours = models.FloatField(_("fan hours until then"))
    at = models.DateTimeField(_("written over at"), db_index=True)
    source = models.CharField(_("by"), max_length=160)

    class Meta:
        verbose_name = _("fan runtime before")
        verbose_name_plural = _("fan runtime before")
        indexes = [models.Index(fields=["system", "day"])]

    def __str__(self) -> str:
        return f"{self.system_id} {self.day} {self.fan_hours:g} h until {self.at:%Y-%m-%d %H:%M}"
