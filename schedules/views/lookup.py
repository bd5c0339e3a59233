"""The technician's one box."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from equipment.access import units_of
from equipment.lookup import AT_MOST, as_face, as_size, look_up, of_face
from equipment.models import Media
from schedules.emails import FilterLine, filter_lines


def page(request: HttpRequest) -> HttpResponse:
    """What was typed, and the right filter for every slot that answers to it."""
    typed = request.GET.get("q", "").replace("\0", "")[:200]
    slots = list(
        look_up(typed).select_related("system__site__customer", "plan", "first_media")[: AT_MOST + 1]
    )
    lines: list[FilterLine] = filter_lines(slots[:AT_MOST], timezone.now(), units_of(request.user))
    context = {
        "typed": typed,
        "lines": lines,
        "more": len(slots) > AT_MOST,
        "stock": _stock(typed),
    }
    return render(request, "schedules/look_up.html", context)


def _stock(typed: str) -> list[Media]:
    """The media of the size that was typed, or of its two sides."""
    size, face = as_size(typed), as_face(typed)
    if size is not None:
        return list(Media.objects.filter(nominal_size=size.label).order_by("merv"))
    if face is not None:
        return list(Media.objects.filter(of_face(face)).order_by("depth_m", "merv"))
    return []
