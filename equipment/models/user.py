"""Who may sign in, and as what."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _


class User(AbstractUser):
    """An account with one role; a homeowner's is tied to a person at a site."""

    class Role(models.TextChoices):
        MANAGER = "manager", _("service manager")
        TECHNICIAN = "technician", _("technician")
        HOMEOWNER = "homeowner", _("homeowner")

    role = models.CharField(_("role"), max_length=12, choices=Role.choices, default=Role.HOMEOWNER)
    # Empty: as the desk shows them.
    units = models.CharField(
        _("units"), max_length=2, choices=[("ip", _("inch-pound")), ("si", _("metric"))], blank=True
    )
    person = models.ForeignKey(
        "Person", verbose_name=_("person"), null=True, blank=True, on_delete=models.PROTECT
    )

    # A second factor (``equipment.second_factor``): since when it is wanted, its seed, the last code's step.
    second_since = models.DateTimeField(_("wants a code since"), null=True, blank=True, editable=False)
    second_seed = models.CharField(max_length=24, blank=True, editable=False)
    second_step = models.BigIntegerField(null=True, blank=True, editable=False)
    second_wrong = models.PositiveIntegerField(default=0, editable=False)
    second_wrong_since = models.DateTimeField(null=True, blank=True, editable=False)

    @property
    def is_manager(self) -> bool:
        """Whether this account runs the desk."""
        return self.role == self.Role.MANAGER

    @property
    def is_homeowner(self) -> bool:
        """Whether this account sees its own homes only."""
        return self.role == self.Role.HOMEOWNER
