"""The form that tells of a change: when, and what went in."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from equipment.meanwhile import standing
from equipment.models import Desk, FilterSlot, Media
from schedules.day_field import DayField
from shared import clock


def fitting(slot: FilterSlot) -> Any:
    """Media of the slot's own size."""
    return Media.objects.filter(nominal_size=slot.nominal_size).order_by("merv", "name")


def as_before(slot: FilterSlot) -> str:
    """What is meant where no medium is chosen: after a filter for a while the usual one again."""
    row = standing([slot.pk], clock.local_day(timezone.now(), Desk.the().zone)).first()
    return _without_choice(row.usual if row else None)


def _without_choice(usual: Media | None) -> str:
    if usual is None:
        return str(_("the same as before"))
    return str(_("the usual one again, %(name)s") % {"name": usual.name})


def change_forms(slots: Sequence[FilterSlot], today: date) -> "dict[int, ChangeForm]":
    """An empty form a slot, to be shown; two queries however many."""
    sizes: dict[str, list[tuple[object, str]]] = {slot.nominal_size: [] for slot in slots}
    for one in Media.objects.filter(nominal_size__in=sizes).order_by("merv", "name"):
        sizes[one.nominal_size].append((one.pk, str(one)))
    usual = {row.slot_id: row.usual for row in standing([slot.pk for slot in slots], today)}
    return {
        slot.pk: ChangeForm(
            slot,
            today,
            prefix=f"slot{slot.pk}",
            shown=[("", _without_choice(usual.get(slot.pk))), *sizes[slot.nominal_size]],
        )
        for slot in slots
    }


class ChangeForm(forms.Form):
    """I changed it: when, and what went in."""

    on = DayField(label=_("Changed on"))
    medium = forms.ModelChoiceField(Media.objects.none(), label=_("Filter that went in"), required=False)

    def __init__(
        self,
        slot: FilterSlot,
        today: date,
        *args: Any,
        shown: Sequence[tuple[object, str]] | None = None,
        **kwargs: Any,
    ) -> None:
        """``shown``: the choices where they are known already, of a form that is only shown."""
        super().__init__(*args, **kwargs)
        self.fields["on"].initial = today
        choice = self.fields["medium"]
        assert isinstance(choice, forms.ModelChoiceField)  # noqa: S101
        if shown is not None:
            choice.choices = list(shown)
            return
        choice.queryset = fitting(slot)
        choice.empty_label = as_before(slot)
