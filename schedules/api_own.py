"""What is a household's own, for programs: its data, its wishes, being forgotten, and a home's calendar."""

from typing import Any

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema

from equipment.access import signed_in, site_or_404
from equipment.models import Person
from schedules import erasure, feeds, own_data
from schedules.calendar_events import Owner
from schedules.contacts import Contacts
from schedules.models import Wish
from schedules.wishes import wanted_of
from schedules.wishes_form import WishesForm
from shared.asked_days import Key
from shared.form_bodies import Refusal, as_form, checked

router = Router()


class WishesIn(Schema):
    """What somebody wants to hear, and in which language; what is left out stays."""

    language: str | None = Field(None, max_length=8)
    wants_filter_mail: bool | None = None
    wants_visit_mail: bool | None = None
    wants_record_mail: bool | None = None


class WishesOut(Schema):
    """The same, as it stands."""

    language: str
    wants_filter_mail: bool
    wants_visit_mail: bool
    wants_record_mail: bool


class ErasedIn(Schema):
    """Whether it is meant: nothing brings it back."""

    sure: bool = False


class DoneOut(Schema):
    """In words."""

    said: str


class CalendarOut(Schema):
    """The secret address to subscribe to; empty where there is none yet."""

    address: str


def _person(request: HttpRequest) -> Person:
    person = signed_in(request).person
    if person is None:
        raise Http404
    return person


@router.get("/my-data", url_name="api-my-data", response=dict[str, Any], tags=["household"])
def mine(request: HttpRequest) -> Any:
    """All that is on record about whoever asks."""
    return own_data.of(_person(request), timezone.now())


@router.post("/my-wishes", url_name="api-my-wishes", response=WishesOut, tags=["household"])
def wishes(request: HttpRequest, told: WishesIn) -> Any:
    """Write down what whoever asks wants to hear, and in which language."""
    person = _person(request)
    before = wanted_of(person)
    stands = {name: getattr(person, name) for name in WishesOut.model_fields}
    form = WishesForm(as_form(stands | told.dict(exclude_none=True)), instance=person)
    checked(form)
    form.write_down(before, timezone.now(), Wish.How.OWN_PAGE)
    return person


@router.post("/my-data/erased", url_name="api-erase-me", response=DoneOut, tags=["household"])
def erase(request: HttpRequest, told: ErasedIn) -> Any:
    """Forget whoever asks; their key opens nothing from then on."""
    person = _person(request)
    if not told.sure:
        raise Refusal(409, _("Nothing was erased: say that you mean it."), ask="sure")
    erasure.erase(person, timezone.now())
    return DoneOut(said=_("You are erased from our record. Thank you for having been with us."))


@router.get("/sites/{pk}/calendar", url_name="api-calendar", response=CalendarOut, tags=["household"])
def calendar(request: HttpRequest, pk: Key) -> Any:
    """A home's calendar."""
    feed = feeds.open_feeds(_owner(request, pk)).first()
    return CalendarOut(address=feeds.address(feed) if feed else "")


@router.post(
    "/sites/{pk}/calendar/turned", url_name="api-calendar-turned", response=DoneOut, tags=["household"]
)
def turned(request: HttpRequest, pk: Key) -> Any:
    """Give a home's calendar a new address, to be asked for; the old one answers no more."""
    if feeds.turn(_owner(request, pk), timezone.now()):
        return DoneOut(said=_("The old calendar address answers no more; here is a new one."))
    return DoneOut(said=_("Here is the calendar's address; keep it to yourselves."))


def _owner(request: HttpRequest, pk: int) -> Owner:
    user = signed_in(request)
    site = site_or_404(user, pk)
    if not user.is_homeowner and pk not in Contacts(user, timezone.now()):
        raise Refusal(403, _("The calendar of a home is for whoever goes there about now."))
    return Owner(site=site)
