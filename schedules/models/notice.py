"""The outbox: a row is written before a message is tried and completed after."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Notice(models.Model):
    """One message to one person about one home."""

    class Kind(models.TextChoices):
        FILTERS_DUE = "filters_due", _("filters due")
        FOLLOW_UP = "follow_up", _("follow-up")
        VISIT = "visit", _("visit")
        TIMES = "times", _("times offered")
        DONE = "done", _("what was done")
        SHUT = "shut", _("nobody opened")
        SIGN_IN = "sign_in", _("sign-in link")

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        CLAIMED = "claimed", _("being sent")
        SENT = "sent", _("sent")
        NOT_SENT = "not_sent", _("not sent")
        FAILED = "failed", _("failed")
        PARKED = "parked", _("sent or not? somebody must look")

    class Channel(models.TextChoices):
        MAIL = "mail", _("mail")
        TEXT = "text", _("text message")

    key = models.CharField(max_length=120, unique=True)
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices)
    channel = models.CharField(_("channel"), max_length=4, choices=Channel.choices, default=Channel.MAIL)
    site = models.ForeignKey(
        "equipment.Site", null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    person = models.ForeignKey(
        "equipment.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    visit = models.ForeignKey(
        "Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    # What a letter about a visit promised, as ``Promise.as_json`` writes it.
    said = models.JSONField(default=dict, blank=True)
    state = models.CharField(_("state"), max_length=10, choices=State.choices, default=State.WAITING)
    why = models.CharField(_("why"), max_length=300, blank=True)
    send_at = models.DateTimeField(_("to be sent at"), db_index=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(_("sent at"), null=True, blank=True)
    # A mail address, or the number of a text message.
    sent_to = models.CharField(_("to"), max_length=254, blank=True)
    subject = models.CharField(_("subject"), max_length=200, blank=True)
    text = models.TextField(blank=True)
    html = models.TextField(blank=True)
    # Who said of a parked row whether it went out.
    judged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    judged_at = models.DateTimeField(_("judged at"), null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name = _("notice")
        verbose_name_plural = _("outbox")
        ordering = ["-send_at", "-pk"]
        indexes = [
            # The sender asks for nothing else; the index stays as small as the work waiting. By number too: a
            # morning's letters have one hour, and each would be found by sorting all that are left.
            models.Index(fields=["send_at", "id"], condition=Q(state="waiting"), name="notice_next"),
        ]

    def __str__(self) -> str:
        return self.key


class NoticeSlot(models.Model):
    """A slot spoken of to a reader; ``life`` names the filter then in it, spoken of once a kind.

    ``void`` where the letter was not sent after all, so that the filter may be spoken of again.
    """

    notice = models.ForeignKey("Notice", on_delete=models.CASCADE, related_name="slots")
    slot = models.ForeignKey("equipment.FilterSlot", on_delete=models.PROTECT, related_name="told")
    kind = models.CharField(max_length=12)
    life = models.CharField(max_length=24)
    person = models.ForeignKey(
        "equipment.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    void = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["slot", "kind", "life", "person"],
                condition=Q(void=False),
                name="told_once_a_life",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.slot_id} {self.kind} {self.life}"
