"""The technician's one box."""

from functools import reduce
from operator import and_
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from equipment.access import units_of
from equipment.lookup import AT_MOST, as_face, as_size, look_up, nearest, of_face
from equipment.models import Media
from schedules.also_fits import also_fits
from schedules.emails import filter_lines

_MOST_MEDIA = 12


def page(request: HttpRequest) -> HttpResponse:
    """What was typed, and the right filter for every slot that answers to it, or that comes nearest."""
    typed, now = request.GET.get("q", "").replace("\0", "")[:200].strip(), timezone.now()
    related = ("system__site__customer", "plan", "first_media")
    slots = list(look_up(typed, now).select_related(*related))
    stock = _stock(typed)
    near = [] if slots or stock else list(nearest(typed).select_related(*related))
    shown = (slots or near)[:AT_MOST]
    lines = filter_lines(shown, now, units_of(request.user))
    others = also_fits(shown, {line.slot.pk: line.media for line in lines})
    context: dict[str, Any] = {
        "typed": typed,
        "lines": [{"line": line, "also": others[line.slot.pk]} for line in lines],
        "count": len(slots[:AT_MOST]),
        "more": len(slots) > AT_MOST,
        "nearest": bool(near),
        "stock": stock,
    }
    return render(request, "schedules/look_up.html", context)


def _stock(typed: str) -> list[Media]:
    """The media of the size that was typed, or of its two sides, or of that name."""
    size, face = as_size(typed), as_face(typed)
    if size is not None:
        return list(Media.objects.filter(nominal_size=size.label).order_by("merv"))
    if face is not None:
        return list(Media.objects.filter(of_face(face)).order_by("depth_m", "merv"))
    words = typed.split()
    if sum(map(len, words)) < 3 or typed.isdigit():
        return []
    named = reduce(and_, (Q(name__icontains=word) for word in words[:8]))
    return list(Media.objects.filter(named).order_by("name")[:_MOST_MEDIA])
