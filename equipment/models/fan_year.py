"""Fan hours of a past year in one row."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class FanYear(models.Model):
    """``hours`` are a calendar year's days as ``shared.packed_days`` writes them. A day that has a row of its
    own beside it (``RuntimeDay``) counts by that row."""

    # The key of a system and day finds the days of a system too.
    system = models.ForeignKey("System", on_delete=models.PROTECT, related_name="fan_years", db_index=False)
    year = models.PositiveSmallIntegerField(_("year"))
    hours = models.BinaryField()

    class Meta:
        verbose_name = _("fan runtime of a year")
        constraints = [
            models.UniqueConstraint(fields=["system", "year"], name="one_fan_year"),
            models.CheckConstraint(condition=Q(year__range=(1900, 9999)), name="fan_year_of_our_time"),
        ]

    def __str__(self) -> str:
        return f"{self.system_id} {self.year}"
