"""An air handler and its ducts."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class System(models.Model):
    """A ducted heating and cooling system; airflow in m3/s, pressure in Pa, capacity in W."""

    class Kind(models.TextChoices):
        HIGH_VELOCITY = "high_velocity", _("small-duct high-velocity")
        CONVENTIONAL = "conventional", _("conventional")

    class Blower(models.TextChoices):
        CONSTANT_AIRFLOW = "constant_airflow", _("constant airflow")
        FIXED_SPEED = "fixed_speed", _("fixed speed")

    name = models.CharField(_("name"), max_length=120, unique=True)
    site = models.ForeignKey("Site", on_delete=models.PROTECT, related_name="systems")
    kind = models.CharField(_("kind"), max_length=16, choices=Kind.choices, blank=True)
    capacity_w = models.FloatField(_("capacity"), null=True, blank=True)
    design_airflow_m3s = models.FloatField(_("design airflow"), null=True, blank=True)
    blower = models.CharField(_("blower"), max_length=20, choices=Blower.choices, blank=True)
    # Pairs [airflow in m3/s, static in Pa], rising in airflow.
    blower_table = models.JSONField(_("blower table"), default=list, blank=True)
    rated_external_static_pa = models.FloatField(_("rated external static"), null=True, blank=True)
    return_budget_pa = models.FloatField(_("return budget"), null=True, blank=True)
    return_static_pa = models.FloatField(_("return static without the filter"), null=True, blank=True)
    supply_static_pa = models.FloatField(_("supply static"), null=True, blank=True)
    # The unit's own figure, where its papers give one; else the published floors.
    airflow_floor_m3s = models.FloatField(_("least airflow by the unit's papers"), null=True, blank=True)
    # One a return: {"diameter_m", "length_m" or null, "flexible", "compression"}, widest first.
    return_ducts = models.JSONField(_("return ducts"), default=list, blank=True)
    replaced_on = models.DateField(_("replaced on"), null=True, blank=True)
    replaced_by = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT)
    # Of the form that handed it over, so that the same form sent twice makes one system.
    handover_key = models.CharField(max_length=32, unique=True, null=True, blank=True, editable=False)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("system")
        verbose_name_plural = _("systems")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(design_airflow_m3s__isnull=True) | Q(design_airflow_m3s__gt=0),
                name="system_airflow_positive",
            ),
            models.CheckConstraint(
                condition=Q(capacity_w__isnull=True) | Q(capacity_w__gt=0), name="system_capacity_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name
