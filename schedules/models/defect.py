"""What a technician saw at a home that wants correcting."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class Defect(models.Model):
    """One thing seen at a visit, open until somebody of the desk settles it."""

    class Kind(models.TextChoices):
        FLUE = "flue", _("Soot, scorching or a smell at a burner or flue")
        WIRING = "wiring", _("Scorched or loose wiring")
        ICE = "ice", _("Ice on coil or refrigerant lines")
        OIL = "oil", _("Oil on refrigerant lines")
        OLD_INSULATION = "old_insulation", _("Old insulation or duct wrap damaged")
        UNSAFE_WAY = "unsafe_way", _("The way to the filter is unsafe")
        WATER = "water", _("Water or rust at the unit")
        MOULD = "mould", _("Damp or mould at grille or duct")
        DIRTY_COIL = "dirty_coil", _("Dirt on coil or blower wheel")
        RETURN_LEAK = "return_leak", _("Return box or duct leaks")
        AIR_BESIDE = "air_beside", _("Air passes beside the filter")
        FRAME = "frame", _("Rack or frame bent or loose")
        WRONG_SIZE = "wrong_size", _("A filter of another size was in there")
        BLOCKED = "blocked", _("Grille blocked")
        OTHER = "other", _("Something else, as noted")

    visit = models.ForeignKey("Visit", on_delete=models.PROTECT, related_name="defects")
    site = models.ForeignKey("equipment.Site", on_delete=models.PROTECT, related_name="defects")
    kind = models.CharField(_("seen"), max_length=16, choices=Kind.choices)
    seen_at = models.DateTimeField(_("seen at"))
    seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(_("settled at"), null=True, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_how = models.CharField(_("how it was settled"), max_length=300, blank=True)

    class Meta:
        verbose_name = _("defect")
        verbose_name_plural = _("defects")
        ordering = ["seen_at", "pk"]
        constraints = [models.UniqueConstraint(fields=["visit", "kind"], name="one_defect_a_visit")]
        indexes = [
            models.Index(fields=["seen_at"], condition=models.Q(settled_at=None), name="defects_open"),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.kind}"
