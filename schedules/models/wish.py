"""What somebody wanted to hear and what no more: when they said so, where, and in which words asked."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Wish(models.Model):
    """One time that it was said; rows are added and never changed."""

    class How(models.TextChoices):
        LETTER = "letter", _("by the link in a letter")
        MAIL_PROGRAM = "mail_program", _("by the button of a mail program")
        OWN_PAGE = "own_page", _("on their own page")
        TEXT = "text", _("by a text message")
        DESK = "desk", _("told to the desk")

    person = models.ForeignKey("equipment.Person", on_delete=models.PROTECT, related_name="wishes")
    # As ``reach`` has it: filters, visits, record; or texts.
    subject = models.CharField(_("about"), max_length=10)
    wanted = models.BooleanField(_("wanted"))
    at = models.DateTimeField(_("said at"))
    how = models.CharField(_("how"), max_length=12, choices=How.choices)
    wording = models.CharField(_("words"), max_length=300, blank=True)

    class Meta:
        verbose_name = _("wish")
        verbose_name_plural = _("wishes")
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.person_id} {self.subject} {self.wanted}"
