"""What somebody wants to hear, and in which language, as a form."""

from datetime import datetime

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy

from equipment.models import Person
from schedules.reach import CONSENT
from schedules.wishes import note


class WishesForm(forms.ModelForm):  # type: ignore[type-arg]
    """What somebody wants to hear, and in which language."""

    language = forms.ChoiceField(label=gettext_lazy("Language"), choices=settings.LANGUAGES)

    class Meta:
        model = Person
        fields = ("language", "wants_filter_mail", "wants_visit_mail", "wants_record_mail")
        labels = {
            "wants_filter_mail": gettext_lazy("Letters about filters"),
            "wants_visit_mail": gettext_lazy("Letters about visits"),
            "wants_record_mail": gettext_lazy("Letters about what was done"),
        }

    def write_down(self, before: dict[str, bool], now: datetime, how: str) -> None:
        """Store what was said, and the wish with its words; ``before`` holds what was wanted until then."""
        self.save()
        words = {subject: str(self.fields[name].label) for subject, name in CONSENT.items()}
        note(self.instance, before, now, how, words)
