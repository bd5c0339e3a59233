"""What was done at a home, to be printed."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.access import signed_in, site_or_404, units_of
from equipment.models import Desk
from schedules import due
from schedules.day_field import DayField
from schedules.proof import done_at


class SpanForm(forms.Form):
    """From when to when."""

    first = DayField(label=gettext_lazy("From"), required=False)
    last = DayField(label=gettext_lazy("To"), required=False)

    def clean(self) -> dict[str, Any]:
        """The last day is not before the first."""
        data = super().clean() or {}
        if data.get("first") and data.get("last") and data["last"] < data["first"]:
            self.add_error("last", _("It ends before it begins."))
        return data


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything done at the home, newest first, each with whom it is known from."""
    site, form = site_or_404(signed_in(request), pk), SpanForm(request.GET or None)
    span = form.cleaned_data if form.is_valid() else {}
    context = {
        "site": site,
        "desk": Desk.the(),
        "form": form,
        "entries": done_at(
            site,
            units_of(request.user),
            span.get("first"),
            span.get("last"),
            to_managers=signed_in(request).is_manager,
        ),
        "today": due.today(timezone.now()),
        "span": span,
    }
    return render(request, "schedules/proof.html", context)
