"""What a household answered to a letter, other than that a filter was changed."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Answer(models.Model):
    """One filter's answer; ``life`` names the filter then in it, so that the answer ends with a change."""

    class Kind(models.TextChoices):
        NOT_YET = "not_yet", _("not yet")
        WRONG_SIZE = "wrong_size", _("another size")
        OUT_OF_REACH = "out_of_reach", _("cannot reach it")

    site = models.ForeignKey("equipment.Site", on_delete=models.PROTECT, related_name="answers")
    slot = models.ForeignKey("equipment.FilterSlot", on_delete=models.PROTECT, related_name="answers")
    person = models.ForeignKey(
        "equipment.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="answers"
    )
    kind = models.CharField(_("answer"), max_length=12, choices=Kind.choices)
    life = models.CharField(max_length=24)
    # The day that a "not yet" is put off to.
    until = models.DateField(_("until"), null=True, blank=True)
    text = models.CharField(_("in their words"), max_length=200, blank=True)
    at = models.DateTimeField(_("answered at"))
    settled_at = models.DateTimeField(_("settled at"), null=True, blank=True)

    class Meta:
        verbose_name = _("answer")
        verbose_name_plural = _("answers")
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["slot", "life"], name="answer_slot_life")]

    def __str__(self) -> str:
        return f"{self.slot_id} {self.kind}"
