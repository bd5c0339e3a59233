"""Photographs by program: listed, fetched, taken in by the page's own rules, withdrawn."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import File, Form, Router, Schema, Status, UploadedFile

from equipment.access import signed_in, visible_sites
from equipment.models import FilterSlot
from schedules import photographs
from schedules.api_record import homes_for
from schedules.field_entries import is_theirs
from schedules.models import Photograph, Visit
from shared.asked_days import Instant, Key
from shared.form_bodies import Refusal, fault
from shared.paging import Page, Paged, page_of
from shared.photographs import NotAPhotograph, TooLarge, clean, refuse_size

router = Router()
_JPEG = {"description": "OK", "content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}}}


class PhotographOut(Schema):
    """A photograph that stands; its picture is at the address of its ``id``, ``uid`` is the name that it was
    sent under."""

    id: int
    uid: UUID
    filter_slot: str | None
    visit: int | None
    taken_at: datetime
    recorded_at: datetime
    width: int
    height: int

    @staticmethod
    def resolve_filter_slot(row: Photograph) -> str | None:
        return row.slot.name if row.slot else None

    @staticmethod
    def resolve_visit(row: Photograph) -> int | None:
        return row.visit_id


class PhotographIn(Schema):
    """Of which filter, at which visit to its home, when; under the same ``uid`` it is stored once."""

    uid: UUID
    filter_slot: str
    visit: Key
    taken_at: Instant | None = None


class WithdrawnOut(Schema):
    """A photograph whose picture is gone for good."""

    id: int
    withdrawn: bool


@router.get("/photographs", url_name="api-photographs", response=Page[PhotographOut], tags=["photographs"])
def listed(request: HttpRequest, paged: Paged, filter_slot: str = "", visit: Key | None = None) -> Any:
    """Photographs, the latest first."""
    sites = homes_for(request, filter_slot or str(visit or ""))
    rows = _seen(request, sites).standing().select_related("slot")  # type: ignore[attr-defined]
    rows = rows.filter(slot__name=filter_slot) if filter_slot else rows
    return page_of(rows.filter(visit=visit) if visit else rows, paged)


def _seen(request: HttpRequest, sites: QuerySet[Any]) -> QuerySet[Photograph]:
    """Those of the homes, and for managers also those whose filter is gone."""
    of_homes = Q(slot__system__site__in=sites)
    asked = of_homes | Q(slot=None) if signed_in(request).is_manager else of_homes
    return Photograph.objects.filter(asked)


@router.get(
    "/photographs/{pk}", url_name="api-photograph", tags=["photographs"],
    openapi_extra={"responses": {200: _JPEG}},
)  # fmt: skip
def picture(request: HttpRequest, pk: Key) -> Any:
    """The picture itself, as a JPEG."""
    seen = _seen(request, visible_sites(signed_in(request))).filter(pk=pk, withdrawn_at=None)
    jpeg = seen.values_list("jpeg", flat=True).first()
    if jpeg is None:
        raise Http404
    return HttpResponse(bytes(jpeg), content_type="image/jpeg")


@router.post(
    "/photographs", url_name="api-photographs", response={201: PhotographOut}, tags=["photographs"]
)  # fmt: skip
def take_in(request: HttpRequest, told: Form[PhotographIn], file: File[UploadedFile]) -> Any:
    """Store a photograph of a filter at a visit: JPEG, PNG or WebP of at most 12 MB, kept without its
    metadata."""
    user, now = signed_in(request), timezone.now()
    visit = Visit.objects.filter(pk=told.visit).first()
    if visit is None or not is_theirs(visit, user):
        raise fault("visit", _("No visit of that number is on record, or it is not yours."))
    slot = FilterSlot.objects.filter(name=told.filter_slot, system__site=visit.site_id).first()
    if slot is None:
        raise fault("filter_slot", _("No filter of that name is at this home."))
    if told.taken_at is not None and not now - photographs.OLDEST < told.taken_at <= now:
        raise fault("taken_at", _("It was taken after it was sent, or too long ago: is the clock right?"))
    row = photographs.known(told.uid, slot, visit)
    if row is None:
        taken = photographs.Taken(told.uid, slot, visit, told.taken_at or now)
        row = photographs.keep(taken, _plain(file), user, now)
    return Status(201, row)


def _plain(file: UploadedFile) -> Any:
    try:
        refuse_size(file.size or 0)
        return clean(file.read())
    except TooLarge as error:
        raise Refusal(413, str(error)) from None
    except NotAPhotograph as error:
        raise fault("file", error) from None


@router.post(
    "/photographs/{pk}/withdrawn", url_name="api-photograph-withdrawn", response=WithdrawnOut,
    tags=["photographs"],
)  # fmt: skip
def withdraw(request: HttpRequest, pk: Key) -> Any:
    """Empty a picture for good; that it was there stays on record."""
    row = get_object_or_404(Photograph.objects.defer("jpeg"), pk=pk)
    photographs.withdraw(row, signed_in(request), timezone.now())
    return WithdrawnOut(id=pk, withdrawn=True)
