"""What became of a date that was given."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class KeptDate(models.Model):
    """A filter's last date before it was changed, beside the day of the change; local days of the site."""

    slot = models.ForeignKey("equipment.FilterSlot", on_delete=models.CASCADE, related_name="kept_dates")
    began_on = models.DateField(_("in there since"))
    due_on = models.DateField(_("due by"))
    reason = models.CharField(_("reason"), max_length=10)
    as_of = models.DateField(_("as of"))
    ended_on = models.DateField(_("changed on"), db_index=True)

    class Meta:
        verbose_name = _("date and change")
        verbose_name_plural = _("dates and changes")
        ordering = ["-ended_on", "slot"]
        constraints = [models.UniqueConstraint(fields=["slot", "began_on"], name="one_kept_date_a_life")]

    def __str__(self) -> str:
        return f"{self.slot_id} due {self.due_on} changed {self.ended_on}"
