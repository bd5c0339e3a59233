"""What somebody answered to an invitation to a visit; it is noted and moves nothing."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Reply(models.Model):
    """One answer by mail. ``sequence`` is that of the invitation answered."""

    class Said(models.TextChoices):
        ACCEPTED = "ACCEPTED", _("accepted")
        TENTATIVE = "TENTATIVE", _("perhaps")
        DECLINED = "DECLINED", _("declined")

    visit = models.ForeignKey("Visit", on_delete=models.CASCADE, related_name="replies")
    message_id = models.CharField(max_length=255)
    sender = models.CharField(_("from"), max_length=254)
    # Whether the sender is somebody of that home; an invitation can be handed on.
    known = models.BooleanField(default=False)
    said = models.CharField(_("answer"), max_length=10, choices=Said.choices)
    sequence = models.PositiveIntegerField(default=0)
    at = models.DateTimeField(_("at"))
    read_at = models.DateTimeField()

    class Meta:
        verbose_name = _("reply to an invitation")
        verbose_name_plural = _("replies to invitations")
        ordering = ["sequence", "at", "pk"]
        constraints = [
            # A mail that is read again is not counted again.
            models.UniqueConstraint(fields=["message_id", "visit"], name="reply_read_once"),
        ]

    def __str__(self) -> str:
        return f"{self.visit_id} {self.said}"
