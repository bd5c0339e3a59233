"""A key by which somebody's own programs act for them."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class ApiKey(models.Model):
    """It may what its user may, until it expires or is withdrawn; only its print is kept."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_keys")
    name = models.CharField(_("name"), max_length=80)
    key_print = models.CharField(max_length=64, unique=True, editable=False)
    key_begins = models.CharField(_("key begins"), max_length=6, editable=False)
    made_at = models.DateTimeField(_("made"))
    expires_at = models.DateTimeField(_("expires"))
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    used_at = models.DateTimeField(_("last used"), null=True, blank=True)

    class Meta:
        verbose_name = _("key for programs")
        verbose_name_plural = _("keys for programs")
        ordering = ["user", "-made_at"]

    def __str__(self) -> str:
        return f"{self.name} of {self.user_id}"


class KeptAnswer(models.Model):
    """What was answered to a write that named itself, so that asked again it is not done again."""

    # Print of who asked and the name they gave the write.
    asked = models.CharField(max_length=64, unique=True)
    # Print of method, address and body: the same name for another write is refused.
    write = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    body = models.TextField()
    at = models.DateTimeField(db_index=True)

    class Meta:
        verbose_name = _("kept answer")
        verbose_name_plural = _("kept answers")

    def __str__(self) -> str:
        return f"{self.status} {self.at:%Y-%m-%d %H:%M}"
