"""The season's form: how far, which branch and skill, and what is supposed."""

from datetime import timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from schedules.explain import say_short
from schedules.season import Facts, Narrow
from schedules.season_jobs import USUAL_SMOKE, WhatIf

SPANS = (12, 26)
MOST_CUSTOMERS = 100_000
_NUMBER = {"inputmode": "decimal", "autocomplete": "off"}


def _typed() -> forms.TextInput:
    return forms.TextInput(attrs=_NUMBER)


def _spans() -> list[tuple[int, str]]:
    """Said when the form is made: a lazy text that is filled in is said at once, in whatever language."""
    return [(count, _("%(n)d weeks") % {"n": count}) for count in SPANS]


class SeasonForm(forms.Form):
    """All fields may stay empty; what is odd is said at the field, and nothing is supposed then."""

    weeks = forms.TypedChoiceField(
        label=gettext_lazy("How far"),
        coerce=int,
        required=False,
        choices=_spans,
    )
    branch = forms.TypedChoiceField(label=gettext_lazy("Branch"), coerce=int, required=False)
    skill = forms.ChoiceField(label=gettext_lazy("Skill"), required=False)
    without = forms.TypedChoiceField(label=gettext_lazy("Without the technician"), coerce=int, required=False)
    smoke_weeks = forms.IntegerField(
        label=gettext_lazy("Weeks of smoke"), required=False, min_value=0, max_value=26, widget=_typed()
    )
    smoke_from = forms.TypedChoiceField(
        label=gettext_lazy("Smoke from the week of"), coerce=int, required=False
    )
    smoke_factor = forms.FloatField(
        label=gettext_lazy("Times the usual dust"),
        required=False,
        min_value=1,
        max_value=20,
        widget=forms.TextInput(attrs=_NUMBER | {"placeholder": f"{USUAL_SMOKE:g}"}),
    )
    risk = forms.FloatField(
        label=gettext_lazy("Accepted risk, %"), required=False, min_value=1, max_value=99, widget=_typed()
    )
    cap = forms.IntegerField(
        label=gettext_lazy("No filter longer than, days"),
        required=False,
        min_value=7,
        max_value=3650,
        widget=_typed(),
    )
    customers = forms.IntegerField(
        label=gettext_lazy("New customers"),
        required=False,
        min_value=0,
        max_value=MOST_CUSTOMERS,
        widget=_typed(),
    )

    def __init__(self, known: Facts, data: Any) -> None:
        super().__init__(data, auto_id="id_%s")
        names = known.rows.branches.names
        monday = known.today - timedelta(days=known.today.weekday())
        weeks = [monday + timedelta(weeks=at) for at in range(max(SPANS))]
        self._choose("branch", list(enumerate(names)) if len(names) > 1 else [], gettext_lazy("all"))
        self._choose("skill", [(one, one) for one in known.rows.skills], gettext_lazy("all"))
        self._choose("without", [(one.pk, one.name) for one in known.team.people], gettext_lazy("nobody"))
        self._choose("smoke_from", [(at, say_short(day)) for at, day in enumerate(weeks)], None)
        if len(names) < 2:
            del self.fields["branch"]

    def _choose(self, name: str, choices: list[tuple[Any, Any]], none: Any) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - narrows the type
        field.choices = ([("", none)] if none is not None else []) + choices

    def count(self) -> int:
        """How many weeks."""
        return int(self.cleaned_data.get("weeks") or SPANS[0])

    def narrow(self) -> Narrow:
        """Which branch and skill."""
        branch = self.cleaned_data.get("branch")
        return Narrow(branch if isinstance(branch, int) else None, self.cleaned_data.get("skill") or "")

    def what_if(self) -> WhatIf:
        """What is supposed; fields at fault suppose nothing."""
        told = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        risk = told.get("risk")
        # Smoke of which a part is at fault is none.
        smoke = not {"smoke_weeks", "smoke_from", "smoke_factor"} & set(self.errors)
        return WhatIf(
            without=told.get("without", 0),
            smoke_weeks=told.get("smoke_weeks", 0) if smoke else 0,
            smoke_from=told.get("smoke_from", 0),
            smoke_factor=told.get("smoke_factor", USUAL_SMOKE),
            risk=None if risk is None else risk / 100,
            cap_days=told.get("cap"),
            customers=told.get("customers", 0),
        )

    @property
    def narrowing(self) -> list[forms.BoundField]:
        """The fields that narrow."""
        return [self[name] for name in ("weeks", "branch", "skill") if name in self.fields]

    @property
    def supposing(self) -> list[forms.BoundField]:
        """The fields that suppose."""
        return [self[name] for name in self.fields if name not in ("weeks", "branch", "skill")]
