"""The secret address of a household's calendar, or of a technician's."""

import secrets

from django.db import models
from django.utils.translation import gettext_lazy as _


def new_secret() -> str:
    """192 random bits, safe in a URL."""
    return secrets.token_urlsafe(24)


class Feed(models.Model):
    """A calendar of one site or of one technician; withdrawing it makes the address answer 410."""

    site = models.ForeignKey(
        "equipment.Site", null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    secret = models.CharField(max_length=48, unique=True, default=new_secret)
    created_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)

    class Meta:
        verbose_name = _("calendar feed")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(site__isnull=False, technician__isnull=True)
                | models.Q(site__isnull=True, technician__isnull=False),
                name="feed_of_a_site_or_a_technician",
            )
        ]

    def __str__(self) -> str:
        return f"{self.site_id or self.technician_id} feed"
