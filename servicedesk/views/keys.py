"""Keys for programs: one's own, and for whoever leads the desk everybody's, to be withdrawn."""

from datetime import timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment import api_keys
from equipment.access import signed_in
from shared.keys import new_seed

_SHOWN = "key-made"
_MOST = 100


class KeyForm(forms.Form):
    """What it is for, and for how long."""

    name = forms.CharField(label=gettext_lazy("What it is for"), max_length=80)
    days = forms.IntegerField(
        label=gettext_lazy("Days that it lasts"), min_value=1, max_value=3650, initial=api_keys.LASTS.days
    )


def page(request: HttpRequest) -> HttpResponse:
    """The keys that stand; a new one is shown once, on the page after it was made."""
    form, status = KeyForm(request.POST or None), 200
    if request.method == "POST":
        if form.is_valid():
            lasts = timedelta(days=form.cleaned_data["days"])
            name = form.cleaned_data["name"]
            # A session is kept in the database, which is to hold no key.
            request.session[_SHOWN] = seed = new_seed()
            api_keys.make(signed_in(request), name, timezone.now(), lasts, seed)
            return redirect("keys")
        status = 422
    context: dict[str, Any] = {
        "form": form,
        "keys": api_keys.seen_by(signed_in(request), timezone.now())[:_MOST],
        "made": api_keys.key_by(seed) if (seed := request.session.pop(_SHOWN, "")) else "",
    }
    return render(request, "servicedesk/keys.html", context, status=status)


def withdrawn(request: HttpRequest, pk: int) -> HttpResponse:
    """The key opens nothing any more."""
    key = get_object_or_404(api_keys.seen_by(signed_in(request), timezone.now()), pk=pk)
    api_keys.withdraw(key, timezone.now())
    messages.success(request, _("%(name)s: the key opens nothing any more.") % {"name": key.name})
    return redirect("keys")
