"""What the desk's own records say of filters at large, as last learned."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class FleetPrior(models.Model):
    """One row a day: the numbers of ``planning.loading.Prior``, and the lives with readings behind them."""

    day = models.DateField(_("day"), unique=True)
    numbers = models.JSONField()
    learned_from = models.PositiveIntegerField(_("lives with readings"))
    made_at = models.DateTimeField()

    class Meta:
        verbose_name = _("fleet's own pace")
        ordering = ["-day"]

    def __str__(self) -> str:
        return f"{self.day} from {self.learned_from} lives"
