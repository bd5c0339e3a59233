"""What the desk knows of the server that takes its letters, and of addresses that take none."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.one_row import OneRow


class MailServer(OneRow):
    """The one row of it: since when it has taken no letter, why, and when it is tried again."""

    fault = models.CharField(_("fault"), max_length=300, blank=True)
    since = models.DateTimeField(_("since"), null=True, blank=True)
    again_at = models.DateTimeField(_("tried again at"), null=True, blank=True)

    class Meta:
        verbose_name = _("mail server")
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_mail_server")]

    def __str__(self) -> str:
        return self.fault or "mail server"


class RestedAddress(models.Model):
    """A mailbox that refused a letter for good; nothing more is sent there until somebody lifts it."""

    email = models.EmailField(_("mail"), db_index=True)
    why = models.CharField(_("why"), max_length=300)
    since = models.DateTimeField(_("since"))
    lifted_at = models.DateTimeField(_("lifted at"), null=True, blank=True)

    class Meta:
        verbose_name = _("rested address")
        verbose_name_plural = _("rested addresses")
        ordering = ["-since", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["email"], condition=models.Q(lifted_at=None), name="rested_once_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return self.email
