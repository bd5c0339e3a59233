"""Who the desk has an agreement with."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class Customer(models.Model):
    """A household, landlord or firm; never deleted, only gone."""

    name = models.CharField(_("name"), max_length=200, unique=True)
    gone_on = models.DateField(_("gone on"), null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("customer")
        verbose_name_plural = _("customers")
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
