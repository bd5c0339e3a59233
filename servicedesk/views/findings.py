"""What technicians saw, what they told that could not be written down, and what does not fit on record."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.record import NotRecordable
from schedules import defects, entry_judging
from schedules.finding_words import TITLES, OnRecord
from schedules.models import Defect, FieldEntry

A_PAGE = 40


def page(request: HttpRequest) -> HttpResponse:
    """What is open at homes first, then filters with findings, those that concern most first."""
    kind = request.GET.get("kind", "")
    units = units_of(request.user)
    told = OnRecord(kind, units)
    waiting, open_defects = entry_judging.waiting(), defects.how_many_open()
    context = {
        "open_count": len(told) + len(waiting) + open_defects,
        "seen": defects.all_open(A_PAGE),
        "seen_count": open_defects,
        "told": entry_judging.in_words(waiting[:A_PAGE], units),
        "page": Paginator(told, A_PAGE).get_page(request.GET.get("page")),  # type: ignore[arg-type]
        "kinds": TITLES.items(),
        "kind": kind if kind in TITLES else "",
        "query": f"kind={kind}" if kind in TITLES else "",
    }
    return render(request, "servicedesk/findings.html", context)


def settled(request: HttpRequest, pk: int) -> HttpResponse:
    """What was seen at a home is corrected, or needs no correction."""
    row = get_object_or_404(Defect, pk=pk)
    defects.settle(row, request.POST.get("how", ""), signed_in(request), timezone.now())
    messages.success(request, _("Settled: %(title)s.") % {"title": row.get_kind_display()})
    return redirect("findings")


def judged(request: HttpRequest, pk: int) -> HttpResponse:
    """Count an entry that came from a phone all the same, or leave it aside."""
    row, user, now = get_object_or_404(FieldEntry, pk=pk), signed_in(request), timezone.now()
    try:
        if request.POST.get("count"):
            other = request.POST["count"] == "other"
            left = entry_judging.count(row, user, now, units_of(user), other_day=other)
            messages.success(request, f"{_('Written down.')} {left}".strip())
        else:
            entry_judging.leave(row, user, now)
            stays = _("Looked at; it stands as it was written down.")
            aside = _("Left aside; it stays on record as it was written.")
            messages.success(request, stays if row.counts else aside)
    except NotRecordable as error:
        messages.error(request, str(error))
    return redirect("findings")
