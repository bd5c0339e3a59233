"""A browser in which somebody has shown a code of their app."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class KnownBrowser(models.Model):
    """Only a print of what its cookie holds is kept; its wrong codes are counted for itself."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="known_browsers"
    )
    cookie_print = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField(_("made"))
    second_wrong = models.PositiveIntegerField(default=0, editable=False)
    second_wrong_since = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        verbose_name = _("known browser")
        verbose_name_plural = _("known browsers")

    def __str__(self) -> str:
        return f"of {self.user_id} since {self.made_at:%Y-%m-%d}"
