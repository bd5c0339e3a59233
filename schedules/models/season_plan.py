"""A plan of a whole season: in which week each home is visited, and roughly by whom."""

from datetime import date, timedelta

from django.db import models
from django.utils.translation import gettext_lazy as _

from schedules.models.background_run import BackgroundRun


class SeasonPlan(BackgroundRun):
    """One run: what was asked, how far it is, and what came of it. Nothing is booked by it."""

    first_day = models.DateField(_("first Monday"))
    weeks = models.PositiveSmallIntegerField(_("weeks"), default=12)
    seconds = models.PositiveIntegerField(_("seconds of search a week"), default=10)
    # A row a week as plain values: hours, trips, minutes, driving, what found no place.
    told = models.JSONField(default=list, blank=True)

    class Meta(BackgroundRun.Meta):
        abstract = False
        verbose_name = _("plan of a season")
        verbose_name_plural = _("plans of seasons")

    def __str__(self) -> str:
        return f"{self.first_day} {self.weeks} {self.state}"


class SeasonTrip(models.Model):
    """A home in the plan: its week, and the day and technician that its rounds gave it, if they did."""

    plan = models.ForeignKey("SeasonPlan", on_delete=models.CASCADE, related_name="trips")
    site = models.ForeignKey("equipment.Site", on_delete=models.CASCADE, related_name="+")
    visit = models.ForeignKey("Visit", null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    week = models.PositiveSmallIntegerField(_("week, from nought"))
    day = models.DateField(_("day"), null=True, blank=True)
    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    minutes = models.PositiveIntegerField(_("minutes"))
    first_day = models.DateField(_("not before"))
    last_day = models.DateField(_("not after"))
    # The Monday of its week in the plan before.
    before = models.DateField(_("planned before for the week of"), null=True, blank=True)

    class Meta:
        verbose_name = _("home in a season's plan")
        verbose_name_plural = _("homes in a season's plan")
        ordering = ["week", "day", "pk"]
        indexes = [models.Index(fields=["plan", "week"])]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.site_id} week {self.week}"

    @property
    def moved_from(self) -> date | None:
        """The Monday of its week in the plan before, where that was another one."""
        monday = self.plan.first_day + timedelta(weeks=self.week)
        return self.before if self.before != monday else None
