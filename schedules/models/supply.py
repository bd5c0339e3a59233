"""Filters on their way to the desk, and households whose filters the desk sends."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Purchase(models.Model):
    """So many of one filter ordered, until they arrive or are given up."""

    media = models.ForeignKey("equipment.Media", on_delete=models.PROTECT, related_name="purchases")
    count = models.PositiveIntegerField(_("ordered"))
    ordered_on = models.DateField(_("ordered on"))
    expected_on = models.DateField(_("expected on"))
    ended_on = models.DateField(_("arrived or given up on"), null=True, blank=True)
    arrived = models.PositiveIntegerField(_("arrived"), null=True, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name = _("purchase")
        verbose_name_plural = _("purchases")
        ordering = ["expected_on", "pk"]
        constraints = [models.CheckConstraint(condition=Q(count__gt=0), name="purchase_of_something")]

    def __str__(self) -> str:
        return f"{self.count} × {self.media_id} by {self.expected_on}"


class SentFilter(models.Model):
    """A slot whose household wants its filter sent by the desk, until it wants that no more."""

    slot = models.OneToOneField("equipment.FilterSlot", on_delete=models.CASCADE, related_name="sent")
    since = models.DateField(_("since"))
    last_sent_on = models.DateField(_("last sent on"), null=True, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name = _("filter to send")
        verbose_name_plural = _("filters to send")

    def __str__(self) -> str:
        return f"{self.slot_id} since {self.since}"
