"""What a technician takes along, for programs: the van's list of a day, and the tags at the grilles."""

from datetime import date
from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema

from equipment.access import signed_in, site_or_404
from equipment.models import FilterSlot
from schedules import tags
from schedules.models import Technician
from schedules.van_list import MOST, VanLine, tick, van_list
from shared.asked_days import Day, Key
from shared.form_bodies import Refusal, fault

router = Router()


class LineOut(Schema):
    """So many of one filter for the visits of a day, with spares; ``line`` names it when it is ticked."""

    line: str
    media: str | None
    nominal_size: str
    need: int
    spares: int
    loaded: int | None


class VanOut(Schema):
    """A technician's day as it is loaded."""

    technician: str
    day: date
    lines: list[LineOut]


class LoadedIn(Schema):
    """So many of a line are in the van."""

    day: Day
    line: str = Field(max_length=200)
    count: int = Field(ge=0, le=MOST)


class TagOut(Schema):
    """The code on a filter's tag, as it is printed."""

    filter_slot: str
    code: str


class TagsIn(Schema):
    """Of which filters of the home the tags are void from now on."""

    filter_slots: list[str] = Field(min_length=1, max_length=60)


@router.get("/technicians/{pk}/van", url_name="api-van", response=VanOut, tags=["visits"])
def van(request: HttpRequest, pk: Key, day: Day) -> Any:
    """What goes into the van on a day."""
    somebody = own_technician(request, pk)
    return _van(somebody, day, van_list(somebody, day, timezone.now(), "ip"))


@router.post("/technicians/{pk}/van/loaded", url_name="api-van-loaded", response=VanOut, tags=["visits"])
def loaded(request: HttpRequest, pk: Key, told: LoadedIn) -> Any:
    """Tick a line off, or set its count right."""
    somebody, now = own_technician(request, pk), timezone.now()
    line = next((one for one in van_list(somebody, told.day, now, "ip") if one.key == told.line), None)
    if line is None:
        raise fault("line", _("No such line stands on that day's list."))
    tick(somebody, told.day, line, told.count, signed_in(request), now)
    return _van(somebody, told.day, van_list(somebody, told.day, now, "ip"))


def own_technician(request: HttpRequest, pk: int) -> Technician:
    """The technician, for themselves and for managers."""
    somebody, user = get_object_or_404(Technician, pk=pk), signed_in(request)
    if not user.is_manager and somebody.user_id != user.pk:
        raise Refusal(403, _("That is for whoever drives there, and for managers."))
    return somebody


def _van(somebody: Technician, day: date, lines: list[VanLine]) -> dict[str, Any]:
    told = [
        {
            "line": one.key, "media": one.media.name if one.media else None, "need": one.need,
            "nominal_size": one.nominal_size, "spares": one.spares, "loaded": one.loaded,
        }
        for one in lines
    ]  # fmt: skip
    return {"technician": somebody.name, "day": day, "lines": told}


@router.get("/sites/{pk}/tags", url_name="api-tags", response=list[TagOut], tags=["record"])
def tags_of(request: HttpRequest, pk: Key) -> Any:
    """The tags of a home's filters, to be printed."""
    slots, now = _slots(request, pk), timezone.now()
    return [{"filter_slot": one.name, "code": tags.shown(tags.tag_of(one, now).code)} for one in slots]


@router.post(
    "/sites/{pk}/tags/withdrawn", url_name="api-tags-withdrawn", response=list[TagOut], tags=["record"]
)
def withdrawn(request: HttpRequest, pk: Key, told: TagsIn) -> Any:
    """Tags that are lost or unreadable are void; the new ones."""
    slots, now = _slots(request, pk), timezone.now()
    named = [slot for slot in slots if slot.name in told.filter_slots]
    if len(named) < len(set(told.filter_slots)):
        raise fault("filter_slots", _("One of them is no filter in use at this home."))
    tags.withdraw(named, now)
    return [{"filter_slot": one.name, "code": tags.shown(tags.tag_of(one, now).code)} for one in named]


def _slots(request: HttpRequest, pk: int) -> list[FilterSlot]:
    site = site_or_404(signed_in(request), pk)
    return list(FilterSlot.objects.in_use().filter(system__site=site).order_by("name"))
