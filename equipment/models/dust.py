"""Days on which the air held more dust, or less, than usual."""

from datetime import date

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

LEAST_FACTOR, MOST_FACTOR = 0.1, 20.0
_NO_SITE, _NO_STATION, _NO_PLACE = Q(site=None), Q(station=None), Q(place="")


class DustEpisode(models.Model):
    """Smoke, pollen, a renovation: ``factor`` times the usual dust from ``first_day`` to ``last_day``.

    For one home, for all homes of a weather station, or for a place: a town, a region, or both as
    ``town, region``. Episodes are never deleted: one that is over early is ended, one that was a mistake
    withdrawn.
    """

    class Kind(models.TextChoices):
        SMOKE = "smoke", _("smoke")
        POLLEN = "pollen", _("pollen")
        RENOVATION = "renovation", _("renovation")
        OTHER = "other", _("other dust")

    kind = models.CharField(_("what it is"), max_length=12, choices=Kind.choices)
    first_day = models.DateField(_("from"))
    last_day = models.DateField(_("to"), db_index=True)
    factor = models.FloatField(
        _("times the usual dust"),
        validators=[MinValueValidator(LEAST_FACTOR), MaxValueValidator(MOST_FACTOR)],
    )
    site = models.ForeignKey(
        "Site", on_delete=models.PROTECT, null=True, blank=True, related_name="dust_episodes"
    )
    station = models.ForeignKey(
        "Station", on_delete=models.PROTECT, null=True, blank=True, related_name="dust_episodes"
    )
    place = models.CharField(_("town or region"), max_length=170, blank=True)
    # From this day on it counts for days to come too; its past days count whenever they were recorded.
    recorded_on = models.DateField(_("recorded on"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # The last day that counts, where it was over before the day it was announced to last to.
    ended_on = models.DateField(_("over on"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("dust episode")
        ordering = ["-first_day", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="dust_ends_after_it_began",
                violation_error_message=_("It cannot end before it begins."),
            ),
            models.CheckConstraint(
                condition=Q(factor__range=(LEAST_FACTOR, MOST_FACTOR)), name="dust_factor_in_range"
            ),
            models.CheckConstraint(
                condition=(~_NO_SITE & _NO_STATION & _NO_PLACE)
                | (_NO_SITE & ~_NO_STATION & _NO_PLACE)
                | (_NO_SITE & _NO_STATION & ~_NO_PLACE),
                name="dust_is_somewhere",
                violation_error_message=_("Name one home, one station or one place."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.first_day} {self.last_day}"

    @property
    def last_counted(self) -> date:
        """The last day that counts; before the first where it was ended before it began."""
        return self.last_day if self.ended_on is None else min(self.last_day, self.ended_on)

    @property
    def where(self) -> str:
        """The home, station or place in words."""
        if self.site is not None:
            return self.site.address or self.site.name
        return self.place or str(self.station)


class AirDay(models.Model):
    """A station's mean PM2.5 of a local day in ug/m3, and from how many hours' values: 24 for a daily one."""

    station = models.ForeignKey("Station", on_delete=models.PROTECT, related_name="air_days")
    day = models.DateField(_("day"))
    pm25_ugm3 = models.FloatField(_("fine dust"))
    hours = models.PositiveSmallIntegerField(_("hours with a value"), default=24)

    class Meta:
        verbose_name = _("air of a day")
        constraints = [
            models.UniqueConstraint(fields=["station", "day"], name="one_air_a_day"),
            models.CheckConstraint(condition=Q(pm25_ugm3__gte=0), name="air_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.station_id} {self.day} {self.pm25_ugm3:.0f} ug/m3"
