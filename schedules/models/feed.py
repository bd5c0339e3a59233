"""The secret address of a calendar: a household's, a technician's, or that of the desk's load."""

import secrets

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


def new_secret() -> str:
    """192 random bits, safe in a URL."""
    return secrets.token_urlsafe(24)


class Feed(models.Model):
    """A calendar's address with the calendar as last joined; withdrawing it makes the address answer 410."""

    site = models.ForeignKey(
        "equipment.Site", null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    whole_desk = models.BooleanField(default=False)
    secret = models.CharField(max_length=48, unique=True, default=new_secret)
    created_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)
    # The calendar, its validators, and a print of the facts behind it with the time they were looked at.
    body = models.TextField(blank=True)
    etag = models.CharField(max_length=40, blank=True)
    changed_at = models.DateTimeField(null=True, blank=True)
    facts = models.CharField(max_length=64, blank=True)
    checked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = _("calendar feed")
        constraints = [
            models.CheckConstraint(
                condition=Q(site__isnull=False, technician__isnull=True, whole_desk=False)
                | Q(site__isnull=True, technician__isnull=False, whole_desk=False)
                | Q(site__isnull=True, technician__isnull=True, whole_desk=True),
                name="feed_of_one_owner",
            ),
            models.UniqueConstraint(
                fields=["site"], condition=Q(withdrawn_at=None), name="one_open_feed_a_site"
            ),
            models.UniqueConstraint(
                fields=["technician"], condition=Q(withdrawn_at=None), name="one_open_feed_a_technician"
            ),
            models.UniqueConstraint(
                fields=["whole_desk"],
                condition=Q(withdrawn_at=None, whole_desk=True),
                name="one_open_feed_of_the_desk",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id or self.technician_id or 'desk'} feed"
