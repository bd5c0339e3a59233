"""How letters go out, and addresses that take none, for programs."""

from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest
from django.utils import timezone
from ninja import Router, Schema

from schedules import sending
from schedules.letters_form import LettersForm
from schedules.models import Policy, RestedAddress
from shared.asked_days import Key
from shared.form_bodies import as_form, checked
from shared.paging import Page, Paged, page_of

router = Router()


class RulesOut(Schema):
    """Days of notice and until the next step; hours between which mail and text messages go out, by the
    reader's clock."""

    lead_days: int
    together_days: int
    follow_up_days: int
    call_after_days: int
    send_from_hour: int
    send_to_hour: int
    working_days_only: bool
    text_from_hour: int
    text_to_hour: int


class RulesIn(Schema):
    """The same; what is left out stays."""

    lead_days: int | None = None
    together_days: int | None = None
    follow_up_days: int | None = None
    call_after_days: int | None = None
    send_from_hour: int | None = None
    send_to_hour: int | None = None
    working_days_only: bool | None = None
    text_from_hour: int | None = None
    text_to_hour: int | None = None


class RestedOut(Schema):
    """A mailbox that refused a letter for good, since when and in which words."""

    id: int
    email: str
    why: str
    since: datetime


class LiftedOut(Schema):
    """An address that is written to again."""

    id: int
    lifted: bool


@router.get("/letter-rules", url_name="api-letter-rules", response=RulesOut, tags=["letters"])
def rules(request: HttpRequest) -> Any:
    """How letters and text messages go out."""
    return Policy.the()


@router.post("/letter-rules", url_name="api-letter-rules", response=RulesOut, tags=["letters"])
def set_rules(request: HttpRequest, told: RulesIn) -> Any:
    """Set how letters and text messages go out."""
    policy = Policy.the()
    stands = {name: getattr(policy, name) for name in RulesOut.model_fields}
    form = LettersForm(as_form(stands | told.dict(exclude_none=True)), instance=policy)
    checked(form)
    return form.save()


@router.get("/rested-addresses", url_name="api-rested", response=Page[RestedOut], tags=["letters"])
def rested(request: HttpRequest, paged: Paged) -> Any:
    """Addresses that nothing more is sent to, the newest first."""
    return page_of(RestedAddress.objects.filter(lifted_at=None).order_by("-since", "-pk"), paged)


@router.post(
    "/rested-addresses/{pk}/lifted", url_name="api-rested-lifted", response=LiftedOut, tags=["letters"]
)
def lift(request: HttpRequest, pk: Key) -> Any:
    """Write to a rested address again, also of what failed there."""
    if not sending.lift(pk, timezone.now()):
        raise Http404
    return LiftedOut(id=pk, lifted=True)
