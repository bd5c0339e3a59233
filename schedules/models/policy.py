"""How the desk decides: accepted risk, caps, lead times, sending hours."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shared.one_row import OneRow


def usual_slow_hours() -> list[list[str | int]]:
    """The rush in the morning and in the afternoon."""
    return [["07:00", "09:00", 80], ["16:00", "18:00", 75]]


class Policy(OneRow):
    """The one row of settings that managers may change."""

    accepted_risk = models.FloatField(
        _("accepted risk of being past the limit"),
        default=0.2,
        validators=[MinValueValidator(0.01), MaxValueValidator(0.99)],
    )
    late_days = models.FloatField(
        _("days past the limit that weigh as much as one change"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(365)],
        help_text=_(
            "Empty: the accepted risk holds for every filter. A number, say 10: each filter comes out once "
            "waiting risks more than a change costs, so that one that fills fast may run more risk than one "
            "that lasts; the accepted risk above then counts for none. No date lies beyond the day by which "
            "the filter is likelier full than not."
        ),
    )
    cap_thin_days = models.PositiveIntegerField(_("longest days, up to 2 in. deep"), default=183)
    cap_deep_days = models.PositiveIntegerField(_("longest days, deeper"), default=365)
    cap_washable_days = models.PositiveIntegerField(_("longest days between washings"), default=92)
    shortest_days = models.PositiveIntegerField(
        _("never sooner than so many days after a change"),
        default=0,
        help_text=_(
            "A filter that fills sooner calls for a larger one, not for a change every week. 0: off."
        ),
    )
    lead_days = models.PositiveIntegerField(_("days of notice before the due date"), default=10)
    together_days = models.PositiveIntegerField(_("filters due within so many days go together"), default=21)
    follow_up_days = models.PositiveIntegerField(_("days until the follow-up"), default=7)
    call_after_days = models.PositiveIntegerField(
        _("days after the follow-up until somebody rings"), default=7
    )
    working_days_only = models.BooleanField(_("filter mail on working days only"), default=False)
    text_from_hour = models.PositiveSmallIntegerField(_("text messages go out from"), default=9)
    text_to_hour = models.PositiveSmallIntegerField(_("text messages until"), default=20)
    spare_level = models.FloatField(
        _("share of days on which spares suffice"),
        default=0.95,
        validators=[MinValueValidator(0.5), MaxValueValidator(0.999)],
    )
    stock_level = models.FloatField(
        _("share of periods in which the store suffices"),
        default=0.95,
        validators=[MinValueValidator(0.5), MaxValueValidator(0.999)],
    )
    supply_days = models.PositiveSmallIntegerField(_("days until ordered filters arrive"), default=7)
    send_from_hour = models.PositiveSmallIntegerField(_("mail goes out from"), default=8)
    send_to_hour = models.PositiveSmallIntegerField(_("until"), default=11)
    visit_notice_days = models.PositiveSmallIntegerField(
        _("days ahead that a household is told of a visit that it did not ask for"), default=2
    )
    electricity_price_kwh = models.FloatField(_("price of a kWh"), null=True, blank=True)
    change_price = models.FloatField(_("price of a change without the filter"), null=True, blank=True)
    road_factor = models.FloatField(_("road over great circle"), default=1.3)
    road_speed_ms = models.FloatField(_("mean speed on the road in m/s"), default=12.5)
    # Hours of a working day and the share of the usual speed that roads then allow, in %. Own round figures.
    slow_hours = models.JSONField(_("slow hours"), default=usual_slow_hours, blank=True)
    # As observed: what the ways and stays on record take of what was reckoned, and how many there were.
    way_factor = models.FloatField(_("ways as observed over reckoned"), default=1.0)
    way_spread = models.FloatField(_("scatter of ways as a share of their length"), default=0.3)
    stay_spread = models.FloatField(_("scatter of stays as a share of their length"), default=0.3)
    ways_observed = models.PositiveIntegerField(_("ways observed"), default=0)
    stay_factor = models.FloatField(_("stays as observed over reckoned"), default=1.0)
    stays_observed = models.PositiveIntegerField(_("stays observed"), default=0)
    # The last home that reminders looked at, on a large desk; 0: from the first one on.
    reminders_reached = models.PositiveBigIntegerField(default=0, db_default=0, editable=False)

    class Meta:
        verbose_name = _("policy")
        verbose_name_plural = _("policy")
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="one_policy"),
            models.CheckConstraint(
                condition=Q(accepted_risk__gt=0, accepted_risk__lt=1), name="policy_risk_is_a_chance"
            ),
            models.CheckConstraint(
                condition=Q(late_days=None) | Q(late_days__gt=0), name="policy_late_days_above_nought"
            ),
        ]

    def __str__(self) -> str:
        return "policy"
