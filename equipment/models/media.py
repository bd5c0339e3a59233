"""Filter media as bought: a size, a MERV, and the drop printed on the label."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from equipment.unit_words import show_size


class Media(models.Model):
    """One article: nominal and actual size in metres (never derived from each other), MERV, price."""

    class Kind(models.TextChoices):
        DISPOSABLE = "disposable", _("disposable")
        WASHABLE = "washable", _("washable")
        DEEP = "deep", _("deep")

    name = models.CharField(_("name"), max_length=120, unique=True)
    nominal_size = models.CharField(_("nominal size"), max_length=40, db_index=True)
    short_m = models.FloatField()
    long_m = models.FloatField()
    depth_m = models.FloatField()
    actual_short_m = models.FloatField(null=True, blank=True)
    actual_long_m = models.FloatField(null=True, blank=True)
    actual_depth_m = models.FloatField(null=True, blank=True)
    merv = models.PositiveSmallIntegerField(_("MERV"))
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices, default=Kind.DISPOSABLE)
    price = models.DecimalField(_("price"), max_digits=9, decimal_places=2, null=True, blank=True)
    dust_capacity_kg = models.FloatField(_("dust capacity"), null=True, blank=True)
    max_days = models.PositiveIntegerField(_("longest life in days"), null=True, blank=True)
    # How far ahead a household hears of it, where it takes longer to get than others.
    lead_days = models.PositiveSmallIntegerField(_("days of notice"), null=True, blank=True)
    on_hand = models.IntegerField(_("on hand"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("filter medium")
        verbose_name_plural = _("filter media")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(merv__range=(1, 20)), name="media_merv_range"),
            models.CheckConstraint(
                condition=Q(short_m__gt=0, depth_m__gt=0, long_m__gte=F("short_m")),
                name="media_sides_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def actual_size(self) -> str:
        """The measured size in inches, or an empty text when it is unknown."""
        return self.actual_size_in("ip")

    def actual_size_in(self, units: str) -> str:
        """The measured size in the reader's units, or an empty text when it is unknown."""
        if self.actual_short_m is None or self.actual_long_m is None or self.actual_depth_m is None:
            return ""
        return show_size(self.actual_short_m, self.actual_long_m, self.actual_depth_m, units)


class MediaPoint(models.Model):
    """One point of the label's curve: clean drop in Pa at an airflow in m3/s."""

    media = models.ForeignKey("Media", on_delete=models.CASCADE, related_name="points")
    airflow_m3s = models.FloatField(_("airflow"))
    clean_drop_pa = models.FloatField(_("clean drop"))

    class Meta:
        verbose_name = _("label point")
        ordering = ["media", "airflow_m3s"]
        constraints = [
            models.UniqueConstraint(fields=["media", "airflow_m3s"], name="one_point_an_airflow"),
            models.CheckConstraint(
                condition=Q(airflow_m3s__gt=0, clean_drop_pa__gt=0), name="media_point_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.media_id} {self.airflow_m3s:.4f} m3/s {self.clean_drop_pa:.1f} Pa"
