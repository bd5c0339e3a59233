"""People at a site; the one who changes filters need not own the house nor pay for it."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords


class Person(models.Model):
    """Somebody who can be written to or rung."""

    name = models.CharField(_("name"), max_length=200)
    email = models.EmailField(_("mail"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    language = models.CharField(_("language"), max_length=8, default="en")
    wants_filter_mail = models.BooleanField(_("wants filter mail"), default=True)
    wants_visit_mail = models.BooleanField(_("wants visit mail"), default=True)
    wants_record_mail = models.BooleanField(_("wants to hear what was done"), default=True)
    # Text messages go out only where somebody wrote down when and how consent was given.
    text_consent_at = models.DateTimeField(_("agreed to text messages at"), null=True, blank=True)
    text_consent_how = models.CharField(_("how they agreed"), max_length=120, blank=True)
    text_stopped_at = models.DateTimeField(_("stopped text messages at"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("person")
        verbose_name_plural = _("people")
        indexes = [models.Index(fields=["email"]), models.Index(fields=["name"])]

    def __str__(self) -> str:
        return self.name


class SiteRole(models.Model):
    """What a person is at a site, until they move out."""

    class Role(models.TextChoices):
        OCCUPANT = "occupant", _("occupant")
        OWNER = "owner", _("owner")
        BILL_PAYER = "bill_payer", _("bill payer")
        FILTER_CHANGER = "filter_changer", _("filter changer")

    site = models.ForeignKey("Site", on_delete=models.PROTECT, related_name="roles")
    person = models.ForeignKey("Person", on_delete=models.PROTECT, related_name="roles")
    role = models.CharField(_("role"), max_length=16, choices=Role.choices)
    until = models.DateField(_("moved out on"), null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name = _("role at a site")
        constraints = [models.UniqueConstraint(fields=["site", "person", "role"], name="one_role_once")]

    def __str__(self) -> str:
        return f"{self.person} · {self.get_role_display()}"
