"""What takes a large desk seconds to work out, kept for a day."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class DayResult(models.Model):
    """One row a subject: what was worked out on a local day, as JSON, and when."""

    key = models.CharField(max_length=40, unique=True)
    day = models.DateField(_("day"))
    made_at = models.DateTimeField()
    told = models.JSONField()

    class Meta:
        verbose_name = _("result of a day")
        ordering = ["key"]

    def __str__(self) -> str:
        return f"{self.key} of {self.day}"
