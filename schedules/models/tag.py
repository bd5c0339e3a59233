"""The tag at a grille: a code that leads to the filter behind it."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Tag(models.Model):
    """One printed tag of a slot; a new one withdraws the one before, whose code then leads nowhere."""

    slot = models.ForeignKey("equipment.FilterSlot", on_delete=models.PROTECT, related_name="tags")
    code = models.CharField(_("code"), max_length=12, unique=True)
    made_at = models.DateTimeField(_("made at"))
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)

    class Meta:
        verbose_name = _("tag")
        verbose_name_plural = _("tags")
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["slot"], condition=models.Q(withdrawn_at=None), name="one_tag_a_slot"
            )
        ]

    def __str__(self) -> str:
        return self.code
