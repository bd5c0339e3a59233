"""Sizes in the reader's units."""

from django import template

from equipment.models import FilterSlot

register = template.Library()


@register.filter
def size_in(slot: FilterSlot, units: str) -> str:
    """The slot's nominal size in ``units``; an empty text for anything that is no slot."""
    return slot.size_in(units or "ip") if isinstance(slot, FilterSlot) else ""
