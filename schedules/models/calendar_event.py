"""An event of somebody's calendar as it was last rendered, with the numbers that its readers go by."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class CalendarEvent(models.Model):
    """One subject in the calendar of a home, of a technician, or of the desk where neither is named.

    The row outlasts what it speaks of: its sequence must never fall, or readers keep the older event.
    """

    uid = models.CharField(max_length=120, unique=True)
    site = models.ForeignKey(
        "equipment.Site", null=True, blank=True, on_delete=models.CASCADE, related_name="calendar_events"
    )
    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.CASCADE, related_name="calendar_events"
    )
    visit = models.ForeignKey(
        "Visit", null=True, blank=True, on_delete=models.CASCADE, related_name="calendar_events"
    )
    slot = models.ForeignKey(
        "equipment.FilterSlot",
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="calendar_events",
    )
    sequence = models.PositiveIntegerField(default=0)
    # The sequence with which it got its present time: an answer to an older one is of another time.
    timed_sequence = models.PositiveIntegerField(default=0)
    # Of the event without its numbers.
    content_hash = models.CharField(max_length=64)
    # The whole VEVENT, ready to be joined.
    text = models.TextField()
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True, blank=True)
    # Shown until then; without end where there is none.
    keep_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("calendar event")
        constraints = [
            models.CheckConstraint(
                condition=Q(site__isnull=True) | Q(technician__isnull=True), name="event_of_one_calendar"
            ),
            models.CheckConstraint(condition=Q(last_at__gte=models.F("first_at")), name="event_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.uid} {self.sequence}"
