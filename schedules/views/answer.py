"""The answer page and the end of mails: signed links, no account. GET shows, only POST acts."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt

from equipment.access import units_of_person
from equipment.fields import whole_number
from equipment.languages import language_for, reader_at
from equipment.models import Desk, FilterChange, FilterSlot, Person, Site
from equipment.record import NotRecordable, Told, may_be_undone, record_change, undo_change
from schedules import answers, due, visits
from schedules.bookable import NotBookable
from schedules.cards import households
from schedules.emails import filter_lines
from schedules.explain import say_day
from schedules.forms import ChangeForm
from schedules.models import Notice
from schedules.notice_slots import of_a_technician, open_slots
from schedules.reach import CONSENT, FILTERS, RECORD, VISITS
from schedules.visits import Booking
from schedules.waiting import cost_of_waiting
from shared import clock, signing
from shared.signing import Purpose

MAIL_LINK_LASTS = timedelta(days=120)
CARD_LINK_LASTS = timedelta(days=5 * 365)
STOP_LINK_LASTS = timedelta(days=3 * 365)
_PUT_OFF_DAYS = (3, 7, 14)


@dataclass(frozen=True)
class Asked:
    """What a link leads to: a home and the filters still spoken of."""

    site: Site
    slots: list[FilterSlot]
    all_done: bool
    person: Person | None = None


def answer(request: HttpRequest, token: str) -> HttpResponse:
    """Changed it, made a mistake, or send somebody."""
    try:
        asked = _asked(token, timezone.now())
    except signing.SpentToken:
        return closed(request, _("This link is too old. Ring us, or use the link in a newer letter."), 410)
    except signing.BadToken:
        return closed(request, _("This link is not one of ours, or a piece of it is missing."), 404)
    now = timezone.now()
    spoken = language_for(request.user, asked.person or reader_at(asked.site))
    with translation.override(spoken):
        return _act(request, asked, now) if request.method == "POST" else _show(request, asked, now)


def _asked(token: str, now: datetime) -> Asked:
    value = signing.read(Purpose.ANSWER, token, CARD_LINK_LASTS)
    kind, _colon, number = value.partition(":")
    if kind == "notice":
        signing.read(Purpose.ANSWER, token, MAIL_LINK_LASTS)
        notice = Notice.objects.select_related("site__customer").filter(pk=number).first()
        if notice is None or notice.site is None:
            raise signing.BadToken
        if not notice.site.roles.filter(person=notice.person, until=None).exists():
            raise signing.SpentToken
        slots = open_slots(notice, now)
        return Asked(notice.site, slots, all_done=not slots, person=notice.person)
    number, _colon, household = number.partition(":")
    site = Site.objects.select_related("customer").filter(pk=number).first()
    if site is None:
        raise signing.BadToken
    if site.vacant_since or site.customer.gone_on or int(household or 0) != households(site):
        raise signing.SpentToken
    rows = FilterSlot.objects.in_use().filter(system__site=site)
    return Asked(site, list(rows.select_related("system__site", "plan", "first_media")), all_done=False)


def _act(request: HttpRequest, asked: Asked, now: datetime) -> HttpResponse:
    what = request.POST.get("what", "")
    if what == "send":
        return _send_somebody(request, asked, now)
    if what == "undo":
        return _undo(request, asked, now)
    if what in _OTHERWISE:
        return _otherwise(request, asked, now)
    return _changed(request, asked, now)


def _changed(request: HttpRequest, asked: Asked, now: datetime) -> HttpResponse:
    """Each filter ticked was changed on its day."""
    ticked = [slot for slot in asked.slots if request.POST.get(f"slot{slot.pk}-done")]
    if not ticked:
        return _show(request, asked, now, error=_("Tick the filters that you changed."), status=422)
    today = _today(asked.site, now)
    forms = [(slot, ChangeForm(slot, today, request.POST, prefix=f"slot{slot.pk}")) for slot in ticked]
    for slot, form in forms:
        if not form.is_valid():
            why = " ".join(str(text) for texts in form.errors.values() for text in texts)
            return _show(request, asked, now, error=f"{_place(slot)}: {why}", status=422)
    try:
        done = _record(forms, now)
    except NotRecordable as error:
        return _show(request, asked, now, error=str(error), status=422)
    visits.drop_done([slot.pk for slot in ticked])
    due.replan(now, FilterSlot.objects.filter(system__site=asked.site))
    return _show(request, asked, now, said=_("Thank you. Your new dates are below."), changes=done)


def _record(forms: list[tuple[FilterSlot, ChangeForm]], now: datetime) -> list[FilterChange]:
    """All changes or none; NotRecordable names the filter that stands in the way."""
    told = Told(FilterChange.Told.OCCUPANT, FilterSlot.ChangedBy.OCCUPANT)
    done = []
    with transaction.atomic():
        for slot, form in forms:
            try:
                done.append(
                    record_change(slot, form.cleaned_data["on"], form.cleaned_data["medium"], told, now)
                )
            except NotRecordable as error:
                raise NotRecordable(f"{_place(slot)}: {error}") from None
    return done


def _place(slot: FilterSlot) -> str:
    return f"{slot.size}, {slot.location or slot.name}"


def _undo(request: HttpRequest, asked: Asked, now: datetime) -> HttpResponse:
    change = FilterChange.objects.filter(
        pk=whole_number(request.POST.get("change")), slot__system__site=asked.site, undone_at=None
    ).first()
    if change is None:
        return _show(request, asked, now, error=_("That change is not on record."), status=422)
    try:
        undo_change(change, now)
    except NotRecordable as error:
        return _show(request, asked, now, error=str(error), status=422)
    due.replan(now, FilterSlot.objects.filter(system__site=asked.site))
    return _show(request, asked, now, said=_("Taken back. The old date stands again."))


def _send_somebody(request: HttpRequest, asked: Asked, now: datetime) -> HttpResponse:
    slots = asked.slots or list(FilterSlot.objects.in_use().filter(system__site=asked.site))
    waiting = of_a_technician(slot.pk for slot in slots)
    slots = [slot for slot in slots if slot.pk not in waiting]
    try:
        visits.book(Booking(asked.site, slots, []), now)
    except NotBookable:
        return _show(request, asked, now, said=_("We know already, and will ring you."))
    return _show(request, asked, now, said=_("We will ring you to agree on a day."))


def _otherwise(request: HttpRequest, asked: Asked, now: datetime) -> HttpResponse:
    """Not yet, another size, or out of reach: of one filter that the link leads to."""
    slot = next((one for one in asked.slots if one.pk == whole_number(request.POST.get("slot"))), None)
    if slot is None:
        return _show(request, asked, now, error=_("Say which filter you mean."), status=422)
    try:
        said = _OTHERWISE[request.POST["what"]](request, slot, asked, now)
    except answers.NotAnswerable as error:
        return _show(request, asked, now, error=str(error), status=422)
    return _show(request, asked, now, said=said)


def _not_yet(request: HttpRequest, slot: FilterSlot, asked: Asked, now: datetime) -> str:
    chosen = whole_number(request.POST.get("days"))
    if chosen not in _PUT_OFF_DAYS:
        raise answers.NotAnswerable(_("Choose until when it waits."))
    until = _today(asked.site, now) + timedelta(days=chosen)
    answers.put_off(slot, asked.person, until, now)
    return _("We remind you on %(day)s.") % {"day": say_day(until)}


def _wrong_size(request: HttpRequest, slot: FilterSlot, asked: Asked, now: datetime) -> str:
    answers.of_another_size(slot, asked.person, request.POST.get("size", ""), now)
    return _("Thank you. We look into the size and ring you; until then no letter comes about this filter.")


def _out_of_reach(_request: HttpRequest, slot: FilterSlot, asked: Asked, now: datetime) -> str:
    answers.out_of_reach(slot, asked.person, now)
    with suppress(NotBookable):
        visits.book(Booking(asked.site, [slot], []), now)
    return _("Leave the ladder where it is: we ring you to agree on a day.")


_OTHERWISE: dict[str, Callable[[HttpRequest, FilterSlot, Asked, datetime], str]] = {
    "not-yet": _not_yet,
    "wrong-size": _wrong_size,
    "no-reach": _out_of_reach,
}


def _waits(slots: list[FilterSlot], today: date) -> list[tuple[FilterSlot, list[tuple[int, str]]]]:
    """What putting each filter off would cost, by days."""
    return [
        (
            slot,
            [
                (days, cost_of_waiting(getattr(slot, "plan", None), today + timedelta(days=days)))
                for days in _PUT_OFF_DAYS
            ],
        )
        for slot in slots
    ]


def _show(
    request: HttpRequest,
    asked: Asked,
    now: datetime,
    said: str = "",
    error: str = "",
    changes: list[FilterChange] | None = None,
    status: int = 200,
) -> HttpResponse:
    today, units = _today(asked.site, now), units_of_person(asked.person)
    everything = FilterSlot.objects.in_use().filter(system__site=asked.site)
    rows = everything.select_related("system__site", "plan", "first_media").order_by("name")
    recent = may_be_undone(now, FilterSlot.objects.filter(system__site=asked.site))
    typed = request.POST if error and request.POST.get("what") == "changed" else None
    context = {
        "site": asked.site,
        "units": units,
        "desk": Desk.the(),
        "lines": filter_lines(list(rows), now, units),
        "forms": [
            (slot, ChangeForm(slot, today, typed, prefix=f"slot{slot.pk}"))
            for slot in ([] if changes else asked.slots)
        ],
        "ticked": [slot.pk for slot in asked.slots if request.POST.get(f"slot{slot.pk}-done")],
        "told_us": answers.Answered([slot.pk for slot in asked.slots], now).rows,
        "waits": _waits([] if changes else asked.slots, today),
        "all_done": asked.all_done or bool(changes),
        "recent": recent.select_related("slot").order_by("-recorded_at"),
        "said": said,
        "error": error,
    }
    return render(request, "schedules/answer.html", context, status=status)


def closed(request: HttpRequest, why: str, status: int) -> HttpResponse:
    """The page of a link that does not open."""
    return render(request, "schedules/closed.html", {"why": why, "desk": Desk.the()}, status=status)


def _today(site: Site, now: datetime) -> date:
    return clock.local_day(now, site.zone(Desk.the().timezone))


@csrf_exempt
def stop_mail(request: HttpRequest, token: str) -> HttpResponse:
    """Stop or resume letters, each subject by itself. The POST needs no cookie: mail programs send it
    themselves (RFC 8058), and then stop what their letter was about."""
    try:
        value = signing.read(Purpose.STOP_MAIL, token, STOP_LINK_LASTS)
    except signing.BadToken:
        return closed(request, _("This link is not one of ours, or it is too old."), 404)
    # Letters of old named the person alone, and were about filters.
    subject, _colon, pk = value.rpartition(":")
    person = Person.objects.filter(pk=whole_number(pk)).first()
    if person is None or (subject or FILTERS) not in CONSENT:
        return closed(request, _("This link is not one of ours, or it is too old."), 404)
    if request.method == "POST":
        _stop_or_resume(request, person, subject or FILTERS)
    with translation.override(language_for(request.user, person)):
        subjects = [(one, name, getattr(person, CONSENT[one])) for one, name in _subjects()]
        context = {"person": person, "desk": Desk.the(), "subjects": subjects, "asked": subject or FILTERS}
        return render(request, "schedules/stop_mail.html", context)


def _stop_or_resume(request: HttpRequest, person: Person, subject: str) -> None:
    what, _colon, named = request.POST.get("what", "").partition("-")
    field = CONSENT.get(named or subject, CONSENT[subject])
    setattr(person, field, what == "resume")
    person.save(update_fields=[field])


def _subjects() -> list[tuple[str, str]]:
    return [
        (FILTERS, _("Letters about filters")),
        (VISITS, _("Letters about visits")),
        (RECORD, _("Letters about what was done")),
    ]
