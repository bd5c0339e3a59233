"""What too few and too many filters cost, as the page of the purchase list asks for it."""

from django import forms
from django.utils.translation import gettext_lazy as _

from schedules.to_buy import Prices


class PricesForm(forms.Form):
    """Two prices; with them the list says which level is the cheapest."""

    short = forms.FloatField(
        label=_("One filter too few costs (a second trip)"), min_value=0.01, max_value=1e5
    )
    keep = forms.FloatField(
        label=_("Keeping one for a year costs, in % of its price"), min_value=0.1, max_value=1000, initial=20
    )

    def prices(self) -> Prices | None:
        """Them; None where they were not asked about or cannot be."""
        if not self.is_bound or not self.is_valid():
            return None
        return Prices(self.cleaned_data["short"], self.cleaned_data["keep"] / 100)
