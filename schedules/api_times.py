"""Times that a household may choose from, for programs: found in the rounds, offered by mail."""

from datetime import date, time
from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema

from schedules.models import Visit
from schedules.offered_times import Time, find_times, offer
from shared.asked_days import Key
from shared.form_bodies import fault

router = Router()


class TimeOut(Schema):
    """Hours of a day within which a technician could come; ``name`` is theirs when they are offered."""

    name: str
    technician: str
    day: date
    first: time
    last: time


class OfferIn(Schema):
    """Which of the times that were found."""

    times: list[str] = Field(min_length=1, max_length=3)


class OfferOut(Schema):
    """To whom they go out."""

    person: str


@router.get("/visits/{pk}/times", url_name="api-times", response=list[TimeOut], tags=["visits"])
def found(request: HttpRequest, pk: Key) -> Any:
    """Up to three times at which a visit that waits for a day finds a place, the earliest first."""
    return [_told(one) for one in find_times(_visit(pk), timezone.now())]


@router.post("/visits/{pk}/times/offered", url_name="api-times-offered", response=OfferOut, tags=["visits"])
def offered(request: HttpRequest, pk: Key, told: OfferIn) -> Any:
    """Offer times by mail; the household's answer books the visit."""
    visit, now = _visit(pk), timezone.now()
    times = {one.name: one for one in find_times(visit, now)}
    if not set(told.times) <= times.keys():
        raise fault("times", _("One of them is not among the times that are free now; ask for them again."))
    notice = offer(visit, [times[name] for name in told.times], now)
    return {"person": str(notice.person)}


def _visit(pk: int) -> Visit:
    return get_object_or_404(Visit.objects.select_related("site__customer"), pk=pk)


def _told(one: Time) -> dict[str, Any]:
    told = {"name": one.name, "technician": one.technician.name}
    return told | {"day": one.day, "first": one.first, "last": one.last}
