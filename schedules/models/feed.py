"""The secret address of a calendar: a household's, a technician's, or that of the desk's load."""

from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shared.keys import key_of, key_print, new_seed

_PURPOSE = "desk.calendar"


class Feed(models.Model):
    """A calendar's address with the calendar as last joined; withdrawing it makes the address answer 410.

    Of the address only its ``print`` is kept, by which it is found, and the ``seed`` that makes it again with
    the desk's secret key, so that it can be shown: the database alone opens no calendar."""

    site = models.ForeignKey(
        "equipment.Site", null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    technician = models.ForeignKey(
        "Technician", null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    whole_desk = models.BooleanField(default=False)
    print = models.CharField(max_length=64, unique=True)
    seed = models.CharField(max_length=24, blank=True, default=new_seed)
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

    def save(self, *args: Any, **kwargs: Any) -> None:
        """With the print of the address that its seed makes, where it has none yet."""
        self.print = self.print or key_print(key_of(_PURPOSE, self.seed))
        super().save(*args, **kwargs)

    @property
    def secret(self) -> str:
        """What its address holds; empty where the address was made under another secret key, or before seeds:
        it goes on answering, and cannot be shown again."""
        made = key_of(_PURPOSE, self.seed)
        return made if key_print(made) == self.print else ""
