"""A logger or thermostat that posts for one system."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class Device(models.Model):
    """What may post runtime and readings of its ``system``, by a key of which only the print is kept."""

    system = models.ForeignKey("System", on_delete=models.PROTECT, related_name="devices")
    name = models.CharField(_("name"), max_length=80)
    key_print = models.CharField(max_length=64, unique=True, editable=False)
    # The first signs of the key, by which people tell keys apart.
    key_begins = models.CharField(_("key begins"), max_length=6, editable=False)
    made_at = models.DateTimeField(_("made"))
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    turned_at = models.DateTimeField(_("key turned"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    heard_at = models.DateTimeField(_("last heard"), null=True, blank=True)

    class Meta:
        verbose_name = _("device")
        verbose_name_plural = _("devices")
        ordering = ["system", "name", "pk"]

    def __str__(self) -> str:
        return f"{self.name} of {self.system_id}"
