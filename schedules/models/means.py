"""Where vans start, and who is away when."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from schedules.models.technician import Technician


class Depot(models.Model):
    """A branch that vans start from and return to."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    street = models.CharField(_("street"), max_length=200, blank=True)
    latitude = models.FloatField(_("latitude"))
    longitude = models.FloatField(_("longitude"))
    closed_on = models.DateField(_("closed on"), null=True, blank=True)

    class Meta:
        verbose_name = _("depot")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(latitude__range=(-90, 90), longitude__range=(-180, 180)), name="depot_on_earth"
            )
        ]

    def __str__(self) -> str:
        return self.name


class Absence(models.Model):
    """Days without work: of one technician, or of the whole desk where no technician is named."""

    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.PROTECT, related_name="absences"
    )
    first_day = models.DateField(_("first day"))
    last_day = models.DateField(_("last day"))
    why = models.CharField(_("why"), max_length=120, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("absence")
        ordering = ["first_day"]
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="absence_in_order")
        ]

    def __str__(self) -> str:
        return f"{self.technician or 'desk'} {self.first_day}"


class HomeHours(models.Model):
    """The days and hours that suit a home, and who is not to come there."""

    site = models.OneToOneField("equipment.Site", on_delete=models.PROTECT, related_name="home_hours")
    # 0 is Monday; empty: any working day.
    weekdays = models.JSONField(_("days"), default=list, blank=True)
    not_before = models.TimeField(_("not before"), null=True, blank=True)
    not_after = models.TimeField(_("not after"), null=True, blank=True)
    not_by: "models.ManyToManyField[Technician, models.Model]" = models.ManyToManyField(
        "Technician", verbose_name=_("not by"), blank=True, related_name="+"
    )

    history = HistoricalRecords(m2m_fields=[not_by])

    class Meta:
        verbose_name = _("a home's hours")
        constraints = [
            models.CheckConstraint(
                condition=Q(not_before__isnull=True)
                | Q(not_after__isnull=True)
                | Q(not_after__gt=F("not_before")),
                name="home_hours_in_order",
            )
        ]

    def __str__(self) -> str:
        return f"{self.site_id}"
