"""What was written to whom, and whom no letter reaches."""

from datetime import datetime

from csp.decorators import csp_replace
from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.clickjacking import xframe_options_sameorigin

from equipment.access import signed_in, units_of
from schedules import emails, sending
from schedules.call_list import NotToRing, calls, write_call
from schedules.emails import filter_lines
from schedules.letters_form import LettersForm
from schedules.models import MailServer, Notice, Policy, RestedAddress

# Homes to ring on a page: a morning of telephoning.
CALLS_A_PAGE = 50


def outbox(request: HttpRequest) -> HttpResponse:
    """The letters; POST sets how they go out."""
    form = None
    if request.method == "POST":
        form = LettersForm(request.POST, instance=Policy.the())
        if form.is_valid():
            form.save()
            messages.success(request, _("Written down."))
            return redirect("outbox")
    return _outbox(request, form)


def _outbox(request: HttpRequest, form: LettersForm | None) -> HttpResponse:
    """Every letter with its state; on the default settings this is where outgoing mail is read."""
    rows = Notice.objects.select_related("person", "site").order_by("-send_at", "-pk")
    if (state := request.GET.get("state")) in Notice.State.values:
        rows = rows.filter(state=state)
    context = {
        "page": Paginator(rows, 60).get_page(request.GET.get("page")),
        "kept": settings.OUTGOING_MAIL_IS_KEPT,
        "states": Notice.State.choices,
        "state": state or "",
        "server": MailServer.objects.filter(pk=1).exclude(fault="").first(),
        "rested": RestedAddress.objects.filter(lifted_at=None),
        "parked": Notice.objects.filter(state=Notice.State.PARKED).count(),
        "form": form or LettersForm(instance=Policy.the()),
        "open_form": form is not None,
        "state_word": dict(Notice.State.choices).get(state or "", ""),
    }
    return render(request, "servicedesk/outbox.html", context, status=422 if form else 200)


def judged(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody says of a parked letter whether it went out."""
    notice = get_object_or_404(Notice, pk=pk)
    sent = request.POST.get("sent") == "yes"
    try:
        sending.judge(notice, sent=sent, user=signed_in(request), now=timezone.now())
    except sending.NotJudged as error:
        messages.warning(request, str(error))
    else:
        said = _("Taken down as sent.") if sent else _("It waits to be sent again, under its old id.")
        messages.success(request, said)
    return redirect("message", pk)


def lifted(request: HttpRequest, pk: int) -> HttpResponse:
    """Write to a rested address again."""
    if sending.lift(pk, timezone.now()):
        messages.success(request, _("Letters go to that address again."))
    return redirect("outbox")


def message(request: HttpRequest, pk: int) -> HttpResponse:
    """One letter as it was sent."""
    notice = get_object_or_404(Notice.objects.select_related("person", "site"), pk=pk)
    slots = notice.slots.select_related("slot__system__site")
    waiting = notice.state == Notice.State.WAITING
    draft = emails.letter_for(notice, timezone.now()) if waiting else None
    subject = draft.subject if draft else notice.subject or notice.get_kind_display()
    context = {"notice": notice, "slots": slots, "draft": draft.text if draft else "", "subject": subject}
    return render(request, "servicedesk/message.html", context)


def call_list(request: HttpRequest) -> HttpResponse:
    """Homes to ring, each with the reason; POST writes down that one was rung."""
    now = timezone.now()
    if request.method == "POST":
        _write_call(request, now)
        return redirect(request.get_full_path())
    listed = calls(now)
    page = Paginator(listed, CALLS_A_PAGE).get_page(request.GET.get("page"))
    lines = {
        line.slot.pk: line
        for line in filter_lines([slot for call in page for slot in call.slots], now, units_of(request.user))
    }
    rows = [(call, [lines[slot.pk] for slot in call.slots]) for call in page]
    count = len({call.site.pk for call in listed})
    return render(request, "servicedesk/call_list.html", {"rows": rows, "count": count, "page": page})


def _write_call(request: HttpRequest, now: datetime) -> None:
    reached = request.POST.get("reached") == "yes"
    note = request.POST.get("note", "").replace("\0", "").strip()[:300]
    try:
        call = write_call(request.POST.get("key", ""), reached, note, signed_in(request), now)
    except NotToRing as error:
        messages.warning(request, str(error))
        return
    said = _("%(home)s was reached.") if reached else _("%(home)s: nobody answered; it stays on the list.")
    messages.success(request, said % {"home": call.site.address or call.site.name})


@csp_replace({"style-src": ["'unsafe-inline'"], "frame-ancestors": ["'self'"]})  # type: ignore[arg-type]
@xframe_options_sameorigin
def look(request: HttpRequest, pk: int) -> HttpResponse:
    """The letter's HTML alone, for the frame of its page; mail carries its style inside."""
    return HttpResponse(get_object_or_404(Notice, pk=pk).html)
