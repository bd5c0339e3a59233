"""What a household does and what its air holds, for programs: answers about filters, spells of dust."""

from datetime import date, datetime
from typing import Any, Literal

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.access import signed_in, site_or_404
from equipment.dust import record_episode
from equipment.models import DustEpisode, FilterSlot, Site, Station
from schedules import due
from schedules.dust_changes import close_episode
from schedules.dust_forms import EpisodeForm, PlaceEpisodeForm
from schedules.household_acts import Asked, act
from shared.asked_days import Day, Key
from shared.form_bodies import Refusal, as_form, checked, fault
from shared.paging import Page, Paged, page_of

router = Router()


class AnswerIn(Schema):
    """What a household says of a filter: not yet (``days``: 3, 7 or 14), another ``size``, out of reach, sent
    by the desk or no more; or that somebody is to come."""

    what: Literal["send", "not-yet", "wrong-size", "no-reach", "post-it", "fetch-it"]
    filter_slot: str | None = Field(None, max_length=120)
    days: int | None = Field(None, ge=0, le=365)
    size: str = Field("", max_length=60)


class AnsweredOut(Schema):
    """What came of it, as the household reads it."""

    said: str


class DustOut(Schema):
    """A spell of unusual dust, at a home, over a place or about a weather station."""

    id: int
    site: str | None
    place: str
    station: str | None
    kind: str
    first_day: date
    last_day: date
    factor: float
    withdrawn_at: datetime | None

    @staticmethod
    def resolve_site(row: DustEpisode) -> str | None:
        return row.site.name if row.site else None

    @staticmethod
    def resolve_station(row: DustEpisode) -> str | None:
        return row.station.name if row.station else None


class DustIn(Schema):
    """So many times the usual dust on some days, at a home, in a town or region, or about a station."""

    site: str | None = Field(None, max_length=120)
    place: str = Field("", max_length=170)
    station: str | None = Field(None, max_length=120)
    kind: str = Field(max_length=20)
    first_day: Day
    last_day: Day
    factor: float


class ClosedIn(Schema):
    """Whether it never was: then no day of it counts."""

    mistake: bool = False


@router.post("/sites/{pk}/answers", url_name="api-site-answers", response=AnsweredOut, tags=["household"])
def answer(request: HttpRequest, pk: Key, told: AnswerIn) -> Any:
    """Do what the household's own page offers about its filters."""
    site = site_or_404(signed_in(request), pk)
    slots = FilterSlot.objects.in_use().filter(system__site=site)
    asked = list(slots.select_related("system__site", "plan", "first_media"))
    of = next((slot for slot in asked if slot.name == told.filter_slot), None)
    if told.filter_slot and of is None:
        raise fault("filter_slot", _("No filter of that name is in use at this home."))
    post = as_form({**told.dict(exclude={"filter_slot"}), "slot": of.pk if of else None})
    acted = act(post, Asked(site, asked, False, signed_in(request).person), timezone.now())
    if acted.error:
        raise Refusal(422, acted.error)
    return AnsweredOut(said=acted.said)


@router.get("/dust", url_name="api-dust", response=Page[DustOut], tags=["dust"])
def spells(request: HttpRequest, paged: Paged, since: Day | None = None, kind: str = "") -> Any:
    """Spells of unusual dust, the newest first."""
    rows = DustEpisode.objects.filter(withdrawn_at=None).select_related("site", "station")
    rows = rows.filter(last_day__gte=since) if since else rows
    rows = (rows.filter(kind=kind) if kind else rows).order_by("-first_day", "-pk")
    return page_of(rows, paged)


@router.post("/dust", url_name="api-dust", response={201: DustOut}, tags=["dust"])
def dusty(request: HttpRequest, told: DustIn) -> Any:
    """Write down that the air holds more dust than usual for some days; dates follow."""
    now, values = timezone.now(), told.dict(exclude={"site", "station"})
    if told.site is not None:
        site = Site.objects.filter(name=told.site).first()
        if site is None:
            raise fault("site", _("No home of that name is on record."))
        form = EpisodeForm(as_form(values))
        checked(form)
        row = record_episode(form.what(), site, signed_in(request), now)
        due.replan(now, FilterSlot.objects.filter(system__site=site))
        return Status(201, row)
    if told.station is not None:
        values["station"] = Station.objects.filter(name=told.station).values_list("pk", flat=True).first()
        if values["station"] is None:
            raise fault("station", _("No weather station of that name is on record."))
    place = PlaceEpisodeForm(as_form(values))
    checked(place)
    return Status(201, record_episode(place.what(), place.where(), signed_in(request), now))


@router.post("/dust/{pk}/closed", url_name="api-dust-closed", response=DustOut, tags=["dust"])
def close(request: HttpRequest, pk: Key, told: ClosedIn) -> Any:
    """It is over from today on, or it was a mistake; nothing is deleted."""
    row = get_object_or_404(DustEpisode.objects.select_related("site", "station"), pk=pk)
    close_episode(row, signed_in(request), timezone.now(), mistake=told.mistake)
    return row
