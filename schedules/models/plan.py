"""The date of a slot as last computed."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Plan(models.Model):
    """What the engine said of a slot: dates are local days of the site, pressures in Pa."""

    class Reason(models.TextChoices):
        RISK = "risk", _("the drop")
        MEDIUM = "medium", _("the medium's own longest life")
        CALENDAR = "calendar", _("the calendar")
        COST = "cost", _("least cost")
        UNKNOWN = "unknown", _("too little known")

    slot = models.OneToOneField("equipment.FilterSlot", on_delete=models.CASCADE, related_name="plan")
    due_on = models.DateField(_("due by"), null=True, blank=True, db_index=True)
    reason = models.CharField(_("reason"), max_length=10, choices=Reason.choices)
    p10_on = models.DateField(null=True, blank=True)
    p50_on = models.DateField(null=True, blank=True)
    p90_on = models.DateField(null=True, blank=True)
    drop_now_pa = models.FloatField(null=True, blank=True)
    clean_drop_pa = models.FloatField(null=True, blank=True)
    limit_drop_pa = models.FloatField(null=True, blank=True)
    run_hours = models.FloatField(null=True, blank=True)
    # The chance by which dust asks for a change, where waiting is weighed; the policy's own where empty.
    accepted_risk = models.FloatField(null=True, blank=True)
    life_began_on = models.DateField(null=True, blank=True)
    # Plain codes of what was assumed; schedules.explain turns them into sentences.
    notes = models.JSONField(default=list)
    # Rows of schedules.finding_rows, and how many concern the present filter.
    findings = models.JSONField(default=list, blank=True)
    finding_count = models.PositiveSmallIntegerField(default=0)
    as_of = models.DateField()
    # The stamps of the facts behind it: whatever differs from the slot's or the station's is planned again.
    facts_at = models.DateTimeField()
    weather_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        verbose_name = _("plan")
        ordering = ["due_on"]
        indexes = [
            models.Index(fields=["reason"], name="plan_reason"),
            models.Index(
                fields=["-finding_count"], name="plan_with_findings", condition=models.Q(finding_count__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot_id} due {self.due_on}"

    @property
    def needs_technician(self) -> bool:
        """Whether even a clean filter is over the limit, so that changing it is no remedy."""
        return "nothing_left" in self.notes
