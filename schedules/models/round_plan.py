"""A plan of several days' rounds: asked for, worked out behind the pages, taken or left."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from schedules.models.background_run import BackgroundRun


class RoundPlan(BackgroundRun):
    """One run: what was asked, how far it is, and the proposal that came of it."""

    first_day = models.DateField(_("first day"))
    last_day = models.DateField(_("last day"))
    seconds = models.PositiveIntegerField(_("seconds of search"), default=30)
    may_move = models.BooleanField(_("booked visits may move"), default=False)
    # Of the homes that this season's plan dealt to these days; none: of all that are to be had.
    season = models.ForeignKey(
        "SeasonPlan", null=True, blank=True, on_delete=models.SET_NULL, related_name="rounds"
    )
    # schedules.rounds.Proposal as plain values.
    proposal = models.JSONField(default=dict, blank=True)
    # What taking it over came to: booked, moved, refused with reasons.
    outcome = models.JSONField(default=dict, blank=True)

    class Meta(BackgroundRun.Meta):
        abstract = False
        verbose_name = _("plan of rounds")
        verbose_name_plural = _("plans of rounds")

    def __str__(self) -> str:
        return f"{self.first_day} {self.state}"
