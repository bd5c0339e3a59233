"""What weather and air of a day were before they were written over."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class WeatherBefore(models.Model):
    """One value of a station that was written over, when, and by what: a sheet, a file or an account. Only
    added."""

    class Figure(models.TextChoices):
        TEMPERATURE = "temperature", _("mean temperature in °C")
        FINE_DUST = "fine_dust", _("fine dust in µg/m³")

    station = models.ForeignKey("Station", on_delete=models.PROTECT, related_name="weather_before")
    day = models.DateField(_("day"))
    figure = models.CharField(_("figure"), max_length=12, choices=Figure.choices)
    value = models.FloatField(_("value until then"))
    at = models.DateTimeField(_("written over at"), db_index=True)
    source = models.CharField(_("by"), max_length=160)

    class Meta:
        verbose_name = _("weather before")
        verbose_name_plural = _("weather before")
        indexes = [models.Index(fields=["station", "day"])]

    def __str__(self) -> str:
        return f"{self.station_id} {self.day} {self.figure} {self.value:g} until {self.at:%Y-%m-%d %H:%M}"
