"""A photograph of a filter and its frame."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class PhotographQuerySet(models.QuerySet["Photograph"]):
    """Photographs; most readers want no bytes."""

    def standing(self) -> "PhotographQuerySet":
        """Those that were not withdrawn, the latest first, without their bytes."""
        return self.filter(withdrawn_at=None).order_by("-taken_at", "-pk").defer("jpeg")


class Photograph(models.Model):
    """As ``shared.photographs`` made it plain; what is withdrawn keeps its row and loses its bytes.

    The bytes are in the database: they are written in one transaction with what was done, lie in the same
    backup, and every web machine sees them without a shared disk.
    """

    # Named where it was taken, so that one sent twice is stored once.
    uid = models.UUIDField(_("id"), unique=True)
    # None where filter or visit was gone when it came: then it stands beside its entry alone.
    slot = models.ForeignKey(
        "equipment.FilterSlot", null=True, blank=True, on_delete=models.PROTECT, related_name="photographs"
    )
    visit = models.ForeignKey(
        "Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="photographs"
    )
    # What it was written down with where there was no reception.
    entry = models.UUIDField(_("entry"), null=True, blank=True)
    taken_at = models.DateTimeField(_("taken at"))
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    width = models.PositiveIntegerField(_("width"))
    height = models.PositiveIntegerField(_("height"))
    jpeg = models.BinaryField(_("picture"))
    withdrawn_at = models.DateTimeField(_("withdrawn at"), null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = PhotographQuerySet.as_manager()

    class Meta:
        verbose_name = _("photograph")
        verbose_name_plural = _("photographs")
        indexes = [models.Index(fields=["slot", "-taken_at"])]

    def __str__(self) -> str:
        return f"{self.slot_id or '–'} {self.taken_at:%Y-%m-%d}"

    @property
    def small(self) -> tuple[int, int]:
        """Width and height in pixels at which a list shows it."""
        scale = min(SMALL_SIDE / max(self.width, self.height), 1.0)
        return max(round(self.width * scale), 1), max(round(self.height * scale), 1)


SMALL_SIDE = 160
