"""The technician's one box."""

from functools import reduce
from operator import and_
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from equipment.access import units_of
from equipment.look_up_sizes import Sides, as_sides, same_sides, sold_as
from equipment.lookup import AT_MOST, as_merv
from equipment.models import Media
from schedules.also_fits import also_fits, doubted, shelf_of
from schedules.contacts import Contacts
from schedules.emails import filter_lines
from schedules.looked_up import answering, nearest_to
from schedules.tags import found

_MOST_MEDIA = 12


def page(request: HttpRequest) -> HttpResponse:
    """What was typed, and the right filter for every slot that answers to it, or that comes nearest."""
    typed, now = request.GET.get("q", "").replace("\0", "")[:200].strip(), timezone.now()
    tag = found(typed)
    if tag is not None and tag.withdrawn_at is None:
        return redirect("filter", tag.slot_id)
    contacts = Contacts(request.user, now)
    slots = answering(typed, now, contacts)
    sides = as_sides(as_merv(typed)[1])
    sold = sold_as(sides) if sides else ""
    stock = _stock(typed, sides, sold)
    near = [] if slots or (stock and not sold) else nearest_to(typed, contacts)
    shown = (slots or near)[:AT_MOST]
    lines = filter_lines(shown, now, units_of(request.user))
    usual = {line.slot.pk: line.media for line in lines}
    shelf = shelf_of(shown, usual, {line.slot.pk: line.arranged for line in lines if line.arranged})
    others, doubts = also_fits(shelf), doubted(shelf, units_of(request.user))
    context: dict[str, Any] = {
        "typed": typed,
        "lines": [
            {"line": line, "also": others[line.slot.pk], "doubt": doubts.get(line.slot.pk)} for line in lines
        ],
        "count": len(slots[:AT_MOST]),
        "more": len(slots) > AT_MOST,
        "nearest": bool(near),
        "stock": stock,
        "sold_as": "" if slots else sold,
    }
    return render(request, "schedules/look_up.html", context)


def _stock(typed: str, sides: Sides | None, sold: str) -> list[Media]:
    """The media of the size that was typed, or that it is sold as, of its two sides, rating or name."""
    merv, rest = as_merv(typed)
    rows = Media.objects.all() if merv is None else Media.objects.filter(merv=merv)
    if sides is not None:
        named = Q(nominal_size=sold) if sold and sides.size else same_sides(sides)
        return list(rows.filter(named).order_by("depth_m", "merv", "name"))
    if merv is not None and not rest:
        return list(rows.order_by("nominal_size", "name")[:_MOST_MEDIA])
    words = rest.split()
    if sum(map(len, words)) < 3 or typed.isdigit():
        return []
    named = reduce(and_, (Q(name__icontains=word) for word in words[:8]))
    return list(rows.filter(named).order_by("name")[:_MOST_MEDIA])
