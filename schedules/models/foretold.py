"""What was promised of a reading before it was taken."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Foretold(models.Model):
    """Made from facts up to ``as_of`` alone; drops in Pa at the slot's design airflow, the reading's too.

    Without a promise the quantiles are empty and ``why_not`` says why.
    """

    class WhyNot(models.TextChoices):
        START = "start", _("nobody knows when the filter went in")
        SAME_DAY = "same_day", _("read on the day of the change")
        NO_DROP = "no_drop", _("no clean drop or airflow is known")

    reading = models.OneToOneField("equipment.Reading", on_delete=models.CASCADE, related_name="foretold")
    as_of = models.DateField(null=True, blank=True)
    days = models.PositiveSmallIntegerField(_("days ahead"), null=True, blank=True)
    p10_pa = models.FloatField(null=True, blank=True)
    p50_pa = models.FloatField(null=True, blank=True)
    p90_pa = models.FloatField(null=True, blank=True)
    read_pa = models.FloatField(_("read"), null=True, blank=True)
    merv = models.PositiveSmallIntegerField(null=True, blank=True)
    why_not = models.CharField(max_length=10, choices=WhyNot.choices, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        verbose_name = _("promise of a reading")
        verbose_name_plural = _("promises of readings")

    def __str__(self) -> str:
        return f"{self.reading_id} as of {self.as_of}"
