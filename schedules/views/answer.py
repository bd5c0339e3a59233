"""The answer page and the end of mails: signed links, no account. GET shows, only POST acts."""

from datetime import datetime, timedelta

from django.core import signing as django_signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt

from equipment.access import units_of_person
from equipment.fields import whole_number
from equipment.languages import language_for, reader_at
from equipment.models import Desk, FilterSlot, Person, Site
from equipment.record import may_be_undone
from schedules import answers, wishes
from schedules.calendar_events import Owner
from schedules.cards import households
from schedules.change_form import ChangeForm
from schedules.emails import filter_lines
from schedules.feeds import address, feed_of, open_feeds
from schedules.household_acts import Acted, Asked, act, alike, local_today, waits
from schedules.models import Notice, Wish
from schedules.notice_slots import open_slots
from schedules.reach import CONSENT, FILTERS, RECORD, VISITS
from schedules.sign_in_letters import write_link
from shared import signing
from shared.signing import Purpose

MAIL_LINK_LASTS = timedelta(days=120)
CARD_LINK_LASTS = timedelta(days=5 * 365)
STOP_LINK_LASTS = timedelta(days=3 * 365)
# What was done is told in the address, so that loading it again does nothing; for so many seconds.
_TOLD, _TOLD_LASTS = "desk.told", 600


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
        return (
            _act(request, asked, now)
            if request.method == "POST"
            else _show(request, asked, now, _done(request))
        )


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
    """Do it, and go on to a page that can be loaded again without doing it again."""
    what = request.POST.get("what", "")
    if what == "calendar":
        feed_of(Owner(site=asked.site))
        return redirect(f"{request.path}#calendar")
    if what == "own-page" and asked.person and asked.person.email:
        write_link(asked.person.email, now)
        acted = Acted(said=_("A letter with a link to your own page is on its way."))
    else:
        acted = act(request.POST, asked, now)
    if acted.error:
        return _show(request, asked, now, acted, status=422)
    told = django_signing.dumps({"said": acted.said, "changed": bool(acted.changes)}, salt=_TOLD)
    return redirect(f"{request.path}?{urlencode({'told': told})}")


def _done(request: HttpRequest) -> Acted:
    """What was done just before, as the address tells; nothing where it is too old or not ours."""
    try:
        told = django_signing.loads(request.GET.get("told", ""), salt=_TOLD, max_age=_TOLD_LASTS)
        return Acted(said=str(told["said"]), settled=bool(told["changed"]))
    except (django_signing.BadSignature, KeyError, TypeError):
        return Acted()


def _show(
    request: HttpRequest,
    asked: Asked,
    now: datetime,
    acted: Acted | None = None,
    status: int = 200,
) -> HttpResponse:
    acted = acted or Acted()
    said, error = acted.said, acted.error
    today, units = local_today(asked.site, now), units_of_person(asked.person)
    everything = FilterSlot.objects.in_use().filter(system__site=asked.site)
    rows = everything.select_related("system__site", "plan", "first_media").order_by("name")
    recent = may_be_undone(now, FilterSlot.objects.filter(system__site=asked.site))
    typed = request.POST if error and request.POST.get("what") == "changed" else None
    context = {
        "site": asked.site,
        "units": units,
        "desk": Desk.the(),
        "lines": filter_lines(list(rows), now, units),
        "alike": alike(rows),
        "forms": [
            (slot, ChangeForm(slot, today, typed, prefix=f"slot{slot.pk}"))
            for slot in ([] if acted.settled else asked.slots)
        ],
        "ticked": [slot.pk for slot in asked.slots if request.POST.get(f"slot{slot.pk}-done")],
        "told_us": answers.Answered([slot.pk for slot in asked.slots], now).last,
        "waits": waits([] if acted.settled else asked.slots, today),
        "all_done": asked.all_done or acted.settled,
        "recent": recent.select_related("slot").order_by("-recorded_at"),
        "said": said,
        "error": error,
        "feed_address": _feed_address(asked.site),
        "may_ask_for_page": bool(asked.person and asked.person.email),
    }
    return render(request, "schedules/answer.html", context, status=status)


def _feed_address(site: Site) -> str:
    feed = open_feeds(Owner(site=site)).first()
    return address(feed) if feed else ""


def closed(request: HttpRequest, why: str, status: int) -> HttpResponse:
    """The page of a link that does not open."""
    return render(request, "schedules/closed.html", {"why": why, "desk": Desk.the()}, status=status)


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
        if "List-Unsubscribe" not in request.POST:
            return redirect(request.path)
    with translation.override(language_for(request.user, person)):
        subjects = [(one, name, getattr(person, CONSENT[one])) for one, name in _subjects()]
        context = {"person": person, "desk": Desk.the(), "subjects": subjects, "asked": subject or FILTERS}
        return render(request, "schedules/stop_mail.html", context)


def _stop_or_resume(request: HttpRequest, person: Person, subject: str) -> None:
    what, _colon, named = request.POST.get("what", "").partition("-")
    named = named if named in CONSENT else subject
    before = wishes.wanted_of(person)
    setattr(person, CONSENT[named], what == "resume")
    person.save(update_fields=[CONSENT[named]])
    by_program = "List-Unsubscribe" in request.POST
    how = Wish.How.MAIL_PROGRAM if by_program else Wish.How.LETTER
    with translation.override(language_for(request.user, person)):
        press = _("Send them again") if what == "resume" else _("Stop them")
        words = "List-Unsubscribe" if by_program else f"{dict(_subjects())[named]}: {press}"
    wishes.note(person, before, timezone.now(), how, words)


def _subjects() -> list[tuple[str, str]]:
    return [
        (FILTERS, _("Letters about filters")),
        (VISITS, _("Letters about visits")),
        (RECORD, _("Letters about what was done")),
    ]
