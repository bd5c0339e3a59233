"""What a manometer and a flow hood said."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class Reading(models.Model):
    """A filter drop in Pa at an instant, with the airflow through this slot in m3/s where it was measured."""

    # The key of a slot and instant finds the readings of a slot too.
    slot = models.ForeignKey("FilterSlot", on_delete=models.PROTECT, related_name="readings", db_index=False)
    taken_at = models.DateTimeField(_("taken at"))
    filter_drop_pa = models.FloatField(_("filter drop"))
    airflow_m3s = models.FloatField(_("airflow"), null=True, blank=True)
    airflow_method = models.CharField(_("how the airflow was measured"), max_length=80, blank=True)
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(auto_now_add=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("reading")
        verbose_name_plural = _("readings")
        ordering = ["taken_at"]
        constraints = [
            models.UniqueConstraint(fields=["slot", "taken_at"], name="one_reading_an_instant"),
            models.CheckConstraint(condition=Q(filter_drop_pa__gte=0), name="reading_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.slot_id} {self.taken_at:%Y-%m-%d} {self.filter_drop_pa:.1f} Pa"
