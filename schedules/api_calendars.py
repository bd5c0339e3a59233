"""Calendars of the desk's own, for programs: a technician's days, and the load of the whole desk."""

from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Router

from schedules import feeds
from schedules.api_carried import own_technician
from schedules.api_own import CalendarOut, DoneOut
from schedules.calendar_events import Owner
from shared.asked_days import Key

router = Router()


@router.get(
    "/technicians/{pk}/calendar", url_name="api-van-calendar", response=CalendarOut, tags=["calendars"]
)
def of_technician(request: HttpRequest, pk: Key) -> Any:
    """The secret address of a technician's days; empty where there is none yet."""
    return _told(Owner(technician=own_technician(request, pk)))


@router.post(
    "/technicians/{pk}/calendar/turned", url_name="api-van-calendar-turned", response=DoneOut,
    tags=["calendars"],
)  # fmt: skip
def turn_technicians(request: HttpRequest, pk: Key) -> Any:
    """Give a technician's days a new address, to be asked for; the old one answers no more."""
    return _turned(Owner(technician=own_technician(request, pk)))


@router.get("/load-calendar", url_name="api-load-calendar", response=CalendarOut, tags=["calendars"])
def of_load(request: HttpRequest) -> Any:
    """The secret address of the load's calendar; empty where there is none yet."""
    return _told(Owner())


@router.post(
    "/load-calendar/turned", url_name="api-load-calendar-turned", response=DoneOut, tags=["calendars"]
)
def turn_load(request: HttpRequest) -> Any:
    """Give the load's calendar a new address, to be asked for; the old one answers no more."""
    return _turned(Owner())


def _told(owner: Owner) -> CalendarOut:
    feed = feeds.open_feeds(owner).first()
    return CalendarOut(address=feeds.address(feed) if feed else "")


def _turned(owner: Owner) -> DoneOut:
    if feeds.turn(owner, timezone.now()):
        return DoneOut(said=_("The old calendar address answers no more; here is a new one."))
    return DoneOut(said=_("Here is the calendar's address; keep it to yourselves."))
