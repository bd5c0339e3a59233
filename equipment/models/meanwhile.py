"""A filter that goes in for a while only: a finer one for smoke or an allergy, another while one is short."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class Meanwhile(models.Model):
    """From ``begins_on`` the slot holds ``media``; it comes out by ``ends_on``, and somebody looks at it by
    ``look_on``. It stands until another filter goes in; ``ended_on`` calls it off by hand."""

    slot = models.ForeignKey("FilterSlot", on_delete=models.PROTECT, related_name="meanwhiles")
    media = models.ForeignKey("Media", on_delete=models.PROTECT, related_name="+")
    # What goes back in afterwards.
    usual = models.ForeignKey("Media", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    begins_on = models.DateField(_("from"))
    look_on = models.DateField(_("look at it by"))
    ends_on = models.DateField(_("out by"))
    why = models.CharField(_("why"), max_length=200, blank=True)
    ended_on = models.DateField(_("ended on"), null=True, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("filter for a while")
        verbose_name_plural = _("filters for a while")
        ordering = ["-begins_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(look_on__gte=F("begins_on"), ends_on__gte=F("look_on")), name="meanwhile_in_order"
            ),
            models.UniqueConstraint(fields=["slot"], condition=Q(ended_on=None), name="one_meanwhile_a_slot"),
        ]

    def __str__(self) -> str:
        return f"{self.slot_id} {self.media_id} {self.begins_on}"
