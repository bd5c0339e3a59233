"""Which filters will do in a slot, and one that goes in for a while, for programs."""

from datetime import date
from typing import Any

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.access import signed_in, visible_sites
from equipment.fitted import fitted_media
from equipment.meanwhile import fit_for_a_while
from equipment.models import FilterSlot, Meanwhile, Media
from equipment.record import told_by
from schedules import due
from schedules.household_acts import local_today
from schedules.what_fits import Candidate, candidates, for_a_while
from schedules.while_form import WhileForm
from shared.asked_days import Day
from shared.form_bodies import as_form, checked, fault
from shared.units import PA_PER_INWC

router = Router()


class FitOut(Schema):
    """A medium of the slot's size put to the question: the verdict, its reason, and what would come of it."""

    media: str
    merv: int
    fitted: bool
    verdict: str
    why: str
    will_do: bool
    days: int | None
    changes_a_year: float | None
    price_a_year: float | None
    clean_drop_inwc: float | None
    airflow_loss_percent: float | None


class FitsOut(Schema):
    """All of them, in the order of the page."""

    filter_slot: str
    media: list[FitOut]


class WhileIn(Schema):
    """Another filter from today until a day; looked at half-way where no day is named."""

    media: str = Field(max_length=120)
    ends_on: Day
    look_on: Day | None = None
    why: str = Field("", max_length=200)


class WhileOut(Schema):
    """What is in there for a while."""

    media: str
    begins_on: date
    look_on: date
    ends_on: date
    why: str

    @staticmethod
    def resolve_media(row: Meanwhile) -> str:
        return row.media.name


def _slot(request: HttpRequest, name: str) -> FilterSlot:
    seen = FilterSlot.objects.in_use().filter(system__site__in=visible_sites(signed_in(request)), name=name)
    slot = seen.select_related(
        "system__site__customer", "system__site__station", "first_media", "plan"
    ).first()
    if slot is None:
        raise Http404
    return slot


@router.get("/filters/{name}/fits", url_name="api-fits", response=FitsOut, tags=["fits"])
def fits(request: HttpRequest, name: str) -> Any:
    """Every medium of the filter's size with its verdict."""
    slot, now = _slot(request, name), timezone.now()
    found = candidates(slot, fitted_media([slot], now)[slot.pk], now, "ip")
    return {"filter_slot": slot.name, "media": [_told(one) for one in found]}


def _told(one: Candidate) -> dict[str, Any]:
    answer, price = one.answer, one.price_a_year
    clean = answer.clean_drop_pa
    return {
        "media": one.media.name, "merv": one.media.merv, "fitted": one.fitted, "verdict": answer.verdict,
        "why": answer.why, "will_do": one.will_do, "days": one.days, "changes_a_year": one.changes_a_year,
        "price_a_year": None if price is None else round(price, 2),
        "clean_drop_inwc": None if clean is None else round(clean / PA_PER_INWC, 6),
        "airflow_loss_percent": answer.airflow_loss_percent,
    }  # fmt: skip


@router.post(
    "/filters/{name}/for-a-while", url_name="api-for-a-while", response={201: WhileOut}, tags=["fits"]
)
def fit(request: HttpRequest, name: str, told: WhileIn) -> Any:
    """Write down that another filter went in today for a while: only one that may, by its verdict here."""
    slot, now, user = _slot(request, name), timezone.now(), signed_in(request)
    good = for_a_while(candidates(slot, fitted_media([slot], now)[slot.pk], now, "ip"))
    medium = Media.objects.filter(name=told.media, pk__in=[one.media.pk for one in good]).first()
    if medium is None:
        raise fault("media", _("No filter of that name may go in here for a while; ask which fit."))
    body = {"medium": medium.pk, **told.dict(exclude={"media"})}
    form = WhileForm(good, local_today(slot.system.site, now), as_form(body))
    checked(form, names={"medium": "media"})
    row = fit_for_a_while(slot, form.asked(), told_by(user, slot, by_program=True), now)
    due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
    return Status(201, row)
