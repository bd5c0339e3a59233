"""The secret address of a household's calendar."""

import secrets

from django.db import models
from django.utils.translation import gettext_lazy as _


def new_secret() -> str:
    """192 random bits, safe in a URL."""
    return secrets.token_urlsafe(24)


class Feed(models.Model):
    """A calendar of one site; withdrawing it makes the address answer 410."""

    site = models.ForeignKey("equipment.Site", on_delete=models.CASCADE, related_name="feeds")
    secret = models.CharField(max_length=48, unique=True, default=new_secret)
    created_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)

    class Meta:
        verbose_name = _("calendar feed")

    def __str__(self) -> str:
        return f"{self.site_id} feed"
