"""Fan hours by day."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class RuntimeDay(models.Model):
    """Hours the blower ran on a local day: 0 to 24, 25 on the day the clocks go back."""

    # The key of a system and day finds the days of a system too.
    system = models.ForeignKey("System", on_delete=models.PROTECT, related_name="runtime", db_index=False)
    day = models.DateField(_("day"))
    fan_hours = models.FloatField(_("fan hours"))

    class Meta:
        verbose_name = _("fan runtime")
        constraints = [
            models.UniqueConstraint(fields=["system", "day"], name="one_runtime_a_day"),
            models.CheckConstraint(condition=Q(fan_hours__range=(0, 25)), name="fan_hours_in_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.system_id} {self.day} {self.fan_hours:g} h"
