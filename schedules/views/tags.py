"""The tag at the grille: printed for a home, and what scanning it shows to whom."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, site_or_404, units_of, visible_sites
from equipment.models import Desk, FilterSlot, Site, User
from schedules import due, tags
from schedules.cards import card_token
from schedules.emails import FilterLine, filter_lines
from schedules.models import Tag
from schedules.views.answer import closed


def scanned(request: HttpRequest, code: str) -> HttpResponse:
    """A technician comes to the form of today's visit at that filter, other staff to the filter's page, its
    household to the answer page; anybody else reads the size and how to reach the desk."""
    tag = tags.found(code)
    if tag is None:
        return closed(request, _("There is no such tag. Look at its code again, or ring us."), 404)
    if tag.withdrawn_at is not None or not FilterSlot.objects.in_use().filter(pk=tag.slot_id).exists():
        return closed(request, _("This tag was replaced by another. Ring us if it still hangs there."), 410)
    user = request.user
    if isinstance(user, User):
        if not user.is_homeowner:
            visit = tags.open_visit_at(tag.slot, user, due.today(timezone.now()))
            return redirect(
                form_at(visit.pk, tag.slot_id) if visit else reverse("filter", args=[tag.slot_id])
            )
        if visible_sites(user).filter(pk=tag.slot.system.site_id).exists():
            return redirect("answer", card_token(tag.slot.system.site))
    context = {"slot": tag.slot, "desk": Desk.the(), "units": units_of(user)}
    return render(request, "schedules/tag.html", context)


def form_at(visit: int, slot: int) -> str:
    """Where on the visit's page the form of the slot stands."""
    return f"{reverse('visit', args=[visit])}#slot{slot}"


def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The tags of a home, to be printed; POST withdraws those ticked and makes new ones."""
    site, now = site_or_404(signed_in(request), pk), timezone.now()
    slots = _slots(site)
    if request.method == "POST":
        ticked = [slot for slot in slots if request.POST.get(f"slot{slot.pk}")]
        count = tags.withdraw(ticked, now)
        messages.success(request, _("%(n)d tags withdrawn; print the new ones.") % {"n": count})
        return redirect("tags", pk)
    lines = filter_lines(slots, now, units_of(request.user))
    rows = [_row(line, tags.tag_of(line.slot, now)) for line in lines]
    return render(request, "schedules/tags.html", {"site": site, "rows": rows, "desk": Desk.the()})


def _slots(site: Site) -> list[FilterSlot]:
    rows = FilterSlot.objects.in_use().filter(system__site=site)
    return list(rows.select_related("system__site", "plan", "first_media").order_by("name"))


def _row(line: FilterLine, tag: Tag) -> dict[str, object]:
    # Between figure and unit no line ends.
    size = line.size.replace(" in", "\u00a0in").replace(" mm", "\u00a0mm")
    return {"line": line, "size": size, "code": tags.shown(tag.code), "qr": tags.qr_of(tag)}
