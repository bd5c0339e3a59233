"""What does not fit, over all filters in use: for the desk to send somebody or to ask."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from equipment.access import units_of
from equipment.models import FilterSlot
from schedules.finding_words import TITLES, Said, say_all

A_PAGE = 40


def page(request: HttpRequest) -> HttpResponse:
    """Filters with findings, those that concern most first; a fixed number of queries."""
    rows = (
        FilterSlot.objects.in_use()
        .filter(plan__finding_count__gt=0)
        .select_related("system__site__customer", "plan")
        .order_by("-plan__finding_count", "system__site__city", "name")
    )
    kind = request.GET.get("kind", "")
    units = units_of(request.user)
    told = [(slot, findings) for slot in rows if (findings := _told(slot, kind, units))]
    context = {
        "page": Paginator(told, A_PAGE).get_page(request.GET.get("page")),
        "kinds": TITLES.items(),
        "kind": kind if kind in TITLES else "",
        "query": f"kind={kind}" if kind in TITLES else "",
    }
    return render(request, "servicedesk/findings.html", context)


def _told(slot: FilterSlot, kind: str, units: str) -> list[Said]:
    present = [row for row in slot.plan.findings if row["present"]]
    return say_all([row for row in present if kind not in TITLES or row["kind"] == kind], units)
