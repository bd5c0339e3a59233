"""Times at which somebody could come, offered to a household to choose from."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _


class OfferedTime(models.Model):
    """A technician, a day and hours for a visit that waits for a day; the hours are the desk's local ones."""

    visit = models.ForeignKey("Visit", on_delete=models.CASCADE, related_name="offered_times")
    technician = models.ForeignKey("Technician", on_delete=models.PROTECT, related_name="+")
    day = models.DateField(_("day"))
    first = models.TimeField(_("not before"))
    last = models.TimeField(_("not after"))
    offered_at = models.DateTimeField(_("offered at"))
    chosen_at = models.DateTimeField(_("chosen at"), null=True, blank=True)
    # Taken back: declined by the household, overtaken by another offer, or filled meanwhile.
    closed_at = models.DateTimeField(_("closed at"), null=True, blank=True)
    declined = models.BooleanField(_("declined"), default=False)

    class Meta:
        verbose_name = _("time offered")
        verbose_name_plural = _("times offered")
        ordering = ["day", "first", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(last__gt=F("first")), name="offered_hours_in_order"),
            models.CheckConstraint(
                condition=Q(chosen_at__isnull=True) | Q(closed_at__isnull=True),
                name="offered_time_chosen_or_closed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.visit_id} {self.day} {self.first:%H:%M}"
