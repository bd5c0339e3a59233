"""A home: where the systems are."""

from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from equipment.models.desk import a_zone
from shared import clock


class Site(models.Model):
    """An address of a customer, with what the whole household shares."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    customer = models.ForeignKey("Customer", on_delete=models.PROTECT, related_name="sites")
    street = models.CharField(_("street"), max_length=200, blank=True)
    city = models.CharField(_("city"), max_length=80, blank=True)
    region = models.CharField(_("region"), max_length=80, blank=True)
    postcode = models.CharField(_("postcode"), max_length=20, blank=True)
    latitude = models.FloatField(_("latitude"), null=True, blank=True)
    longitude = models.FloatField(_("longitude"), null=True, blank=True)
    altitude_m = models.FloatField(_("altitude"), null=True, blank=True)
    timezone = models.CharField(_("time zone"), max_length=60, blank=True, validators=[a_zone])
    station = models.ForeignKey(
        "Station", on_delete=models.PROTECT, null=True, blank=True, related_name="sites"
    )
    pets = models.BooleanField(_("pets"), null=True, blank=True)
    smokers = models.BooleanField(_("smokers"), null=True, blank=True)
    cautions = models.TextField(_("cautions"), blank=True)
    vacant_since = models.DateField(_("vacant since"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("site")
        verbose_name_plural = _("sites")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(latitude__isnull=True) | Q(latitude__range=(-90, 90)), name="site_latitude"
            ),
            models.CheckConstraint(
                condition=Q(longitude__isnull=True) | Q(longitude__range=(-180, 180)), name="site_longitude"
            ),
        ]
        indexes = [models.Index(fields=["city"]), models.Index(fields=["street"])]

    def __str__(self) -> str:
        return self.name

    @property
    def address(self) -> str:
        """Street, city, region and postcode on one line, without what is unknown."""
        place = " ".join(part for part in (self.region, self.postcode) if part)
        return ", ".join(part for part in (self.street, self.city, place) if part)

    @property
    def placed(self) -> bool:
        """Whether a route can be drawn to it."""
        return self.latitude is not None and self.longitude is not None

    def zone(self, desk_zone: str) -> ZoneInfo:
        """The site's own time zone, or the desk's where none was given or what was given is none."""
        if self.timezone:
            try:
                return clock.zone(self.timezone)
            except ValueError:
                pass
        return ZoneInfo(desk_zone)
