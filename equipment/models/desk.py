"""The contractor who runs this installation."""

import uuid
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from shared import clock
from shared.one_row import OneRow


def a_zone(name: str) -> None:
    """Refuse what is no time zone. Raises ValidationError."""
    try:
        clock.zone(name)
    except ValueError as error:
        raise ValidationError(str(error)) from None


class Desk(OneRow):
    """The one organisation of this installation: its name, address, clock and units."""

    name = models.CharField(_("name"), max_length=120, default="Service desk")
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    email = models.EmailField(_("mail"), blank=True)
    street = models.CharField(_("street"), max_length=200, blank=True)
    city = models.CharField(_("city"), max_length=80, blank=True)
    timezone = models.CharField(_("time zone"), max_length=60, default="America/Chicago", validators=[a_zone])
    units = models.CharField(
        _("units"), max_length=2, choices=[("ip", _("inch-pound")), ("si", _("metric"))], default="ip"
    )
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    # What this installation's calendar entries are named by: its web address may change, their names not.
    calendar_key = models.UUIDField(default=uuid.uuid4, editable=False)

    class Meta:
        verbose_name = _("desk")
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_desk")]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """The desk's own time zone."""
        return ZoneInfo(self.timezone)
