"""The nightly pass over all filters of a large desk, in parts that any worker may take."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Night(models.Model):
    """A new day's dates for every filter: begun once a day, finished when all parts are done; ``prior`` is
    what the fleet had taught by its beginning, the same for all parts."""

    day = models.DateField(_("day"), unique=True)
    started_at = models.DateTimeField(_("started"))
    finished_at = models.DateTimeField(_("finished"), null=True, blank=True)
    prior = models.JSONField(default=dict, blank=True)

    class Meta:
        verbose_name = _("nightly pass")
        verbose_name_plural = _("nightly passes")
        ordering = ["-day"]

    def __str__(self) -> str:
        return f"{self.day}"


class NightPart(models.Model):
    """The homes from one key up to another; ``claimed_at`` says when its worker was last heard of,
    ``free_at`` from when it may be tried again after trouble, ``filters`` how many were looked at and
    ``changed`` how many due dates came out other than before."""

    night = models.ForeignKey("Night", on_delete=models.CASCADE, related_name="parts")
    first_site = models.BigIntegerField()
    last_site = models.BigIntegerField()
    claimed_at = models.DateTimeField(null=True, blank=True)
    claimed_by = models.CharField(max_length=120, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    free_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    filters = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    seconds = models.FloatField(default=0.0)
    trouble = models.TextField(blank=True)

    class Meta:
        verbose_name = _("part of a nightly pass")
        ordering = ["night", "first_site"]
        constraints = [
            models.UniqueConstraint(fields=["night", "first_site"], name="one_part_from_a_home"),
            models.CheckConstraint(
                condition=models.Q(last_site__gte=models.F("first_site")), name="night_part_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.night_id} {self.first_site}-{self.last_site}"
