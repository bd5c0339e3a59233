"""What was measured of a system's air side on one day: at the hand-over, or at a visit."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class AirRecord(models.Model):
    """One set of measurements of a whole system: airflow in m3/s, pressures in Pa, None where not measured.

    ``return_static_pa`` is that of the return path without its filter, all at the airflow of the moment.
    """

    class Coil(models.TextChoices):
        DRY = "dry", _("dry")
        WET = "wet", _("wet")

    system = models.ForeignKey("System", on_delete=models.PROTECT, related_name="air_records")
    measured_at = models.DateTimeField(_("measured at"))
    airflow_m3s = models.FloatField(_("airflow"), null=True, blank=True)
    airflow_method = models.CharField(_("how the airflow was measured"), max_length=80, blank=True)
    return_static_pa = models.FloatField(_("return static without the filter"), null=True, blank=True)
    supply_static_pa = models.FloatField(_("supply static"), null=True, blank=True)
    filter_drop_pa = models.FloatField(_("filter drop beside it"), null=True, blank=True)
    blower_tap = models.CharField(_("speed tap"), max_length=40, blank=True)
    coil = models.CharField(_("coil"), max_length=3, choices=Coil.choices, blank=True)
    measured_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # The system's own statics that these took the place of, should they be taken back.
    return_before_pa = models.FloatField(null=True, blank=True, editable=False)
    supply_before_pa = models.FloatField(null=True, blank=True, editable=False)
    recorded_at = models.DateTimeField(auto_now_add=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("air-side record")
        verbose_name_plural = _("air-side records")
        ordering = ["-measured_at"]
        constraints = [
            models.UniqueConstraint(fields=["system", "measured_at"], name="one_air_record_an_instant"),
            models.CheckConstraint(
                condition=Q(airflow_m3s__isnull=True) | Q(airflow_m3s__gt=0), name="air_record_airflow"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system_id} {self.measured_at:%Y-%m-%d}"
