"""What a technician wrote down at a home, as it came from the phone."""

from django.conf import settings
from django.db import models
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from schedules.models.photograph import Photograph


def _to_look_at() -> models.Q:
    """Not taken as it came, or taken though it would have been asked about; at the door there is no such."""
    unusual = models.Q(state="taken") & ~models.Q(why="") & ~models.Q(kind="arrived")
    return models.Q(judged="") & (models.Q(state__in=["beside", "to_judge"]) | unusual)


class FieldEntries(models.QuerySet["FieldEntry"]):
    """Entries from phones."""

    def waiting(self) -> "FieldEntries":
        """What the desk has still to look at."""
        return self.filter(_to_look_at())


class FieldEntry(models.Model):
    """One form as it was filled in, kept word for word whatever became of it.

    ``uid`` was made on the phone, so that an entry sent twice is known. ``pressed_at`` is what the phone's
    clock said, ``at`` the same by the desk's clock. ``fields`` maps a form's field to its list of strings.
    """

    class Kind(models.TextChoices):
        ARRIVED = "arrived", _("at the door")
        COMPLETED = "completed", _("completed")
        NO_ACCESS = "no_access", _("nobody opened")
        DISPLACED = "displaced", _("something urgent came first")
        READING = "reading", _("a reading")
        CHANGED = "changed", _("a change")

    class State(models.TextChoices):
        TAKEN = "taken", _("written down")
        BESIDE = "beside", _("kept beside what somebody else wrote")
        TO_JUDGE = "to_judge", _("kept for the desk to look at")

    class Judged(models.TextChoices):
        COUNTED = "counted", _("counted all the same")
        LEFT = "left", _("left aside")
        SEEN = "seen", _("looked at")

    uid = models.UUIDField(unique=True)
    device = models.UUIDField()
    number = models.PositiveBigIntegerField(_("number on the phone"))
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    # The visit may be gone by the time that the entry arrives; its number is kept.
    visit = models.ForeignKey(
        "Visit", null=True, blank=True, on_delete=models.SET_NULL, related_name="entries"
    )
    visit_number = models.PositiveBigIntegerField(null=True, blank=True)
    # Of a reading or a change, which belong to one filter and to no visit.
    slot = models.ForeignKey(
        "equipment.FilterSlot", null=True, blank=True, on_delete=models.SET_NULL, related_name="entries"
    )
    slot_number = models.PositiveBigIntegerField(null=True, blank=True)
    kind = models.CharField(_("about"), max_length=10, choices=Kind.choices)
    fields = models.JSONField(_("as written"), default=dict, blank=True)
    pressed_at = models.DateTimeField(_("by the phone's clock"))
    at = models.DateTimeField(_("written at"))
    # Another hour, of another day, that it may have been written at by a clock that was set since.
    other_at = models.DateTimeField(_("or written at"), null=True, blank=True)
    received_at = models.DateTimeField(_("received at"))
    state = models.CharField(_("state"), max_length=8, choices=State.choices, default=State.TAKEN)
    why = models.TextField(_("why"), blank=True)
    # Keys of the slots that were left out where the rest was written down; None where nothing was.
    left_slots = models.JSONField(null=True, blank=True)
    judged = models.CharField(_("judged"), max_length=8, choices=Judged.choices, blank=True)
    judged_at = models.DateTimeField(null=True, blank=True)
    judged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = FieldEntries.as_manager()

    # What was photographed with it, where it is told in words (``entry_judging.in_words``).
    photographs: "list[Photograph]"

    class Meta:
        verbose_name = _("entry from a phone")
        verbose_name_plural = _("entries from phones")
        ordering = ["at", "number"]
        indexes = [
            models.Index(
                fields=["received_at"],
                condition=_to_look_at(),
                name="entries_to_judge",
            )
        ]

    def __str__(self) -> str:
        return f"{self.visit_number or self.slot_number} {self.kind} {self.at:%Y-%m-%d %H:%M}"

    @property
    def counts(self) -> bool:
        """Whether all of it was written down as it came."""
        return self.state == self.State.TAKEN

    @property
    def data(self) -> QueryDict:
        """What was typed, as a form reads it."""
        data = QueryDict(mutable=True)
        for name, values in self.fields.items():
            data.setlist(name, values)
        return data
