"""The place a filter sits in."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from equipment.unit_words import show_size


class FilterSlots(models.QuerySet["FilterSlot"]):
    """Queries that every page asks alike."""

    def in_use(self) -> "FilterSlots":
        """Slots neither retired nor of a replaced system nor of a customer who has gone."""
        return self.filter(retired_on=None, system__replaced_on=None, system__site__customer__gone_on=None)


class FilterSlot(models.Model):
    """A rack or grille that takes one filter; ``name`` is the code on the tag."""

    class ChangedBy(models.TextChoices):
        OCCUPANT = "occupant", _("occupant")
        TECHNICIAN = "technician", _("technician")

    name = models.CharField(_("code"), max_length=120, unique=True)
    system = models.ForeignKey("System", on_delete=models.PROTECT, related_name="slots")
    nominal_size = models.CharField(_("nominal size"), max_length=40, db_index=True)
    short_m = models.FloatField()
    long_m = models.FloatField()
    depth_m = models.FloatField()
    # The opening itself, where somebody measured it.
    opening_short_m = models.FloatField(_("opening, short side"), null=True, blank=True)
    opening_long_m = models.FloatField(_("opening, long side"), null=True, blank=True)
    location = models.CharField(_("place"), max_length=200, blank=True)
    access_notes = models.TextField(_("access"), blank=True)
    # How high above the floor one stands to reach it: what a ladder has to be for.
    height_m = models.FloatField(_("height above the floor"), null=True, blank=True)
    # The filter at the start of the record; changes replace it.
    first_media = models.ForeignKey(
        "Media", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fitted_on = models.DateField(_("fitted on"), null=True, blank=True)
    limit_drop_pa = models.FloatField(_("limit of the drop"), null=True, blank=True)
    changed_by = models.CharField(_("changed by"), max_length=12, choices=ChangedBy.choices, blank=True)
    retired_on = models.DateField(_("retired on"), null=True, blank=True)
    # Whoever writes a fact about the slot stamps it; schedules.due takes up what is newer than its plan.
    facts_changed_at = models.DateTimeField(db_index=True)

    objects = FilterSlots.as_manager()
    history = HistoricalRecords(excluded_fields=["facts_changed_at"])

    class Meta:
        verbose_name = _("filter slot")
        verbose_name_plural = _("filter slots")
        ordering = ["name"]
        indexes = [
            # The season and the list to buy ask for those that technicians change: few of a million at some
            # desks, which nothing else parts from the others.
            models.Index(fields=["changed_by"], name="slot_changed_by"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(short_m__gt=0, depth_m__gt=0), name="slot_sides_positive"),
            models.CheckConstraint(
                condition=Q(limit_drop_pa__isnull=True) | Q(limit_drop_pa__gt=0), name="slot_limit_positive"
            ),
            models.CheckConstraint(
                condition=Q(height_m__isnull=True) | Q(height_m__gte=0), name="slot_height_not_below"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def size(self) -> str:
        """Nominal size in inches, large-type spelling."""
        return show_size(self.short_m, self.long_m, self.depth_m)

    def size_in(self, units: str) -> str:
        """Nominal size in the reader's units; who reads millimetres is told the label's inches too."""
        shown = show_size(self.short_m, self.long_m, self.depth_m, units)
        return f"{shown} ({self.nominal_size})" if units == "si" and "mm" not in self.nominal_size else shown

    @property
    def area_m2(self) -> float:
        """Nominal face area in m2."""
        return self.short_m * self.long_m
