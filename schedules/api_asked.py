"""What pages answer to a question, for programs: the look-up, what was done at a home, trips to be booked,
who could come first, stations gone quiet, what vans should hold.
"""

from datetime import date, datetime
from typing import Annotated, Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Query, Router, Schema

from equipment.access import signed_in, site_or_404
from equipment.lookup import AT_MOST
from equipment.stations import QuietStation, quiet_stations
from schedules import due, visits
from schedules.api import FilterOut
from schedules.api_visits import BookingIn, booking_of
from schedules.contacts import Contacts
from schedules.looked_up import answering, nearest_to
from schedules.proof import done_at
from schedules.soonest import CouldCome, soonest
from schedules.tags import found
from schedules.van_levels import VanLevel, van_levels
from shared.asked_days import Day, Key
from shared.form_bodies import Units, fault
from shared.paging import Page, Paged, page_of

router = Router()


class FoundOut(Schema):
    """Filters that answer, at most fifty; ``more``: there are others; ``nearest``: none answers, these come
    nearest."""

    more: bool
    nearest: bool
    filters: list[FilterOut]


class DoneOut(Schema):
    """One thing done at a home, in words: where, what, how it is known, when and by whom it was written down;
    ``taken_back_on``: it counts no more."""

    day: date
    where: str
    what: str
    known: str
    written: str
    taken_back_on: date | None

    @staticmethod
    def resolve_taken_back_on(row: Any) -> date | None:
        day: date | None = row.undone
        return day


class TripOut(Schema):
    """Work of one home that can share a trip and has no visit yet: filters, tasks by their numbers."""

    site: str
    due_on: date | None
    minutes: int
    skills: list[str]
    filter_slots: list[str]
    tasks: list[int]

    @staticmethod
    def resolve_site(offer: visits.Offer) -> str:
        return offer.site.name

    @staticmethod
    def resolve_filter_slots(offer: visits.Offer) -> list[str]:
        return [slot.name for slot in offer.slots]

    @staticmethod
    def resolve_tasks(offer: visits.Offer) -> list[int]:
        return [task.pk for task in offer.tasks]


class CouldComeOut(Schema):
    """When a technician could arrive today with every promise kept, else why not; ``instead_of``: a visit
    that would get another day for it."""

    technician: str
    arrive_at: datetime | None
    why: str
    instead_of: int | None

    @staticmethod
    def resolve_technician(row: CouldCome) -> str:
        return row.technician.name

    @staticmethod
    def resolve_instead_of(row: CouldCome) -> int | None:
        return row.instead_of.pk if row.instead_of else None


class QuietOut(Schema):
    """A weather station that homes rely on, and the last day that it told of."""

    station: str
    last_day: date | None

    @staticmethod
    def resolve_station(row: QuietStation) -> str:
        return row.station.name


class VanLevelOut(Schema):
    """What a van should hold for the coming week; ``wanted``: how many it would be were there room and
    stock."""

    technician: str
    held: int
    wanted: int
    counts: dict[str, int]

    @staticmethod
    def resolve_technician(row: VanLevel) -> str:
        return row.technician.name

    @staticmethod
    def resolve_counts(row: VanLevel) -> dict[str, int]:
        return {media.name: count for media, count in row.counts}


@router.get("/look-up", url_name="api-look-up", response=FoundOut, tags=["dates"])
def look(request: HttpRequest, q: Annotated[str, Query(min_length=1, max_length=200)] = "-") -> Any:
    """The filters that answer to an address, a name, a code, a tag, a size or a medium."""
    typed, contacts = q.replace("\0", "").strip(), Contacts(signed_in(request), timezone.now())
    tag = found(typed)
    if tag is not None and tag.withdrawn_at is None:
        return {"more": False, "nearest": False, "filters": [tag.slot]}
    slots = answering(typed, timezone.now(), contacts)
    near = [] if slots else nearest_to(typed, contacts)
    shown = slots or near
    return {"more": len(shown) > AT_MOST, "nearest": bool(near), "filters": shown[:AT_MOST]}


@router.get("/sites/{pk}/done", url_name="api-what-was-done", response=Page[DoneOut], tags=["record"])
def done(
    request: HttpRequest, paged: Paged, pk: Key, first: Day | None = None, last: Day | None = None,
    units: Units = "ip",
) -> Any:  # fmt: skip
    """What was done at a home, the newest first."""
    if first and last and last < first:
        raise fault("last", _("It ends before it begins."))
    user = signed_in(request)
    found = done_at(site_or_404(user, pk), units, first, last, to_managers=user.is_manager)
    return page_of(found, paged)


@router.get("/trips-to-book", url_name="api-trips", response=Page[TripOut], tags=["visits"])
def trips(request: HttpRequest, paged: Paged) -> Any:
    """Technicians' work that is due soon and has no visit yet, by home, the earliest first."""
    return page_of(visits.offers(due.today(timezone.now())), paged)


@router.post("/soonest", url_name="api-soonest", response=list[CouldComeOut], tags=["visits"])
def first_to_come(request: HttpRequest, asked: BookingIn) -> Any:
    """Every technician, who could be there today first; nothing is booked."""
    return soonest(booking_of(asked), timezone.now())


@router.get("/quiet-stations", url_name="api-quiet-stations", response=list[QuietOut], tags=["record"])
def quiet(request: HttpRequest) -> Any:
    """Weather stations of homes without a day in the last ten, by name."""
    return quiet_stations(due.today(timezone.now()))


@router.get("/van-levels", url_name="api-van-levels", response=list[VanLevelOut], tags=["supply"])
def vans(request: HttpRequest) -> Any:
    """What each van should hold for the coming week."""
    return van_levels(timezone.now())
