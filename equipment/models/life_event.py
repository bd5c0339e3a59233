"""What happened to a home or its equipment; the rows it speaks of stay."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class LifeEvent(models.Model):
    """One dated event of a site's record."""

    class Kind(models.TextChoices):
        MOVED_OUT = "moved_out", _("somebody moved out")
        VACANT = "vacant", _("the house stands vacant")
        LIVED_IN = "lived_in", _("the house is lived in again")
        SYSTEM_REPLACED = "system_replaced", _("a system was replaced")
        SLOT_RETIRED = "slot_retired", _("a filter slot was retired")
        CUSTOMER_GONE = "customer_gone", _("the customer has gone")

    site = models.ForeignKey("Site", on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(_("what happened"), max_length=20, choices=Kind.choices)
    on = models.DateField(_("on"))
    system = models.ForeignKey("System", null=True, blank=True, on_delete=models.PROTECT)
    slot = models.ForeignKey("FilterSlot", null=True, blank=True, on_delete=models.PROTECT)
    person = models.ForeignKey("Person", null=True, blank=True, on_delete=models.PROTECT)
    note = models.TextField(_("note"), blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT)

    class Meta:
        verbose_name = _("life event")
        ordering = ["-on", "-recorded_at"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.on}"
