"""Weather stations and their days."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Station(models.Model):
    """A weather station by name and position in degrees."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    latitude = models.FloatField(_("latitude"))
    longitude = models.FloatField(_("longitude"))
    weather_changed_at = models.DateTimeField(null=True, blank=True, db_index=True)

    class Meta:
        verbose_name = _("weather station")
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class WeatherDay(models.Model):
    """The daily mean temperature of a station in degrees Celsius."""

    station = models.ForeignKey("Station", on_delete=models.PROTECT, related_name="days")
    day = models.DateField(_("day"))
    mean_temp_c = models.FloatField(_("mean temperature"))

    class Meta:
        verbose_name = _("weather of a day")
        constraints = [
            models.UniqueConstraint(fields=["station", "day"], name="one_weather_a_day"),
            models.CheckConstraint(condition=Q(mean_temp_c__range=(-90, 60)), name="weather_on_earth"),
        ]

    def __str__(self) -> str:
        return f"{self.station_id} {self.day} {self.mean_temp_c:.1f} C"
