"""A household that was rung: whether anybody answered, and what was said."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class Rung(models.Model):
    """One call. ``key`` names the reason on the call list, with the filters or the promise it was about."""

    site = models.ForeignKey("equipment.Site", on_delete=models.PROTECT, related_name="calls")
    visit = models.ForeignKey("Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="calls")
    person = models.ForeignKey(
        "equipment.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    key = models.CharField(max_length=80, db_index=True)
    why = models.CharField(_("why"), max_length=300)
    at = models.DateTimeField(_("rung at"))
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reached = models.BooleanField(_("somebody answered"))
    note = models.CharField(_("note"), max_length=300, blank=True)
    said = models.JSONField(default=dict, blank=True)

    class Meta:
        verbose_name = _("call")
        verbose_name_plural = _("calls")
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.site_id} {self.at:%Y-%m-%d} {self.key}"
