"""A household's own page: its filters, what it does about them, its wishes, its calendar, its data."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.contrib.auth import logout
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from equipment.access import signed_in, site_or_404, units_of
from equipment.dust import episodes_at
from equipment.models import Desk, FilterChange, FilterSlot, Person, Site
from equipment.record import may_be_undone
from schedules import answers, due, erasure, feeds, own_data
from schedules.calendar_events import Owner
from schedules.change_form import ChangeForm, change_forms
from schedules.emails import times_url
from schedules.explain import explain, loaded_share, tube_words
from schedules.home_lines import HomeLine, home_lines, home_title, person_lines
from schedules.household_acts import Acted, Asked, act, alike, local_today, waits
from schedules.models import MaintenanceTask, Photograph, Policy, SentFilter, Visit, Wish
from schedules.open_times import standing
from schedules.views.dust import SHOWN_FOR
from schedules.views.dust import lines as dust_lines
from schedules.visit_promises import hours_words, promise_of
from schedules.wishes import wanted_of
from schedules.wishes_form import WishesForm
from shared.charts import small_gauge
from shared.place_picture import place_picture

# With more filters those that nothing has to be done about are folded.
_MOST_OPEN = 6


@dataclass(frozen=True)
class FilterCard:
    """One filter as its household reads it."""

    row: HomeLine
    picture: str
    photograph: Photograph | None
    why: str
    scale: str
    share: str
    last: FilterChange | None
    form: ChangeForm
    waits: list[tuple[int, str]]
    is_sent: bool
    folded: bool
    error: str
    typed_size: str
    change_by: bool
    alike: bool


def page(
    request: HttpRequest,
    site: Site,
    wishes: WishesForm | None = None,
    refused: Acted | None = None,
    status: int = 200,
) -> HttpResponse:
    """The page of a home for whoever lives there; with what was ``refused`` as it was typed."""
    now, user = timezone.now(), signed_in(request)
    units, lines = units_of(user), home_lines(site, now, units_of(user))
    feed = feeds.open_feeds(Owner(site=site)).first()
    own = FilterSlot.objects.filter(system__site=site)
    offered = standing(due.today(now)).filter(visit__site=site).values("visit")
    choosing = Visit.objects.filter(pk__in=offered).order_by("pk")
    context = {
        "site": site,
        "title": home_title(lines, local_today(site, now)),
        "cards": _cards(site, lines, now, units, _refused(refused, request.POST)),
        "coming": _coming(site),
        "asked_for": asked_for(site),
        "desk": Desk.the(),
        "recent": may_be_undone(now, own).select_related("slot").order_by("-recorded_at"),
        "told_us": answers.Answered([row.line.slot.pk for row in lines], now).last,
        "offers": [times_url(visit) for visit in choosing],
        "visits": _past_visits(site),
        "tasks": MaintenanceTask.objects.filter(system__site=site, ended_on=None).order_by("due_on"),
        "wishes": wishes or (WishesForm(instance=user.person) if user.person else None),
        "feed_address": feeds.address(feed) if feed else "",
        "people": person_lines(site),
        "dust_lines": dust_lines(episodes_at(site, due.today(now) - SHOWN_FOR), due.today(now)),
    }
    return render(request, "schedules/household.html", context, status=status)


def _past_visits(site: Site) -> Any:
    over = (Visit.State.COMPLETED, Visit.State.NO_ACCESS)
    rows = Visit.objects.filter(site=site, state__in=over).select_related("technician")
    return rows.order_by("-day", "-pk")[:10]


def _coming(site: Site) -> list[tuple[Visit, str]]:
    """Visits that have their day, each with its hours as they may be told."""
    zone = Desk.the().zone
    rows = Visit.objects.filter(site=site, state__in=Visit.ON_A_DAY).select_related("technician", "site")
    return [
        (visit, hours_words(promise_of(visit, zone), site.zone(Desk.the().timezone)))
        for visit in rows.order_by("day", "arrive_at", "pk")
    ]


def asked_for(site: Site) -> bool:
    """Whether a visit is wanted that has no day yet."""
    return Visit.objects.filter(site=site, state__in=(Visit.State.DUE, Visit.State.DISPLACED)).exists()


@dataclass(frozen=True)
class _Refused:
    """Of which filter something was refused, why, and what was typed."""

    at: int | None = None
    error: str = ""
    form: ChangeForm | None = None
    size: str = ""

    def of(self, slot: FilterSlot) -> "_Refused":
        return self if self.at == slot.pk else _NOTHING


_NOTHING = _Refused()


def _refused(acted: Acted | None, post: QueryDict) -> _Refused:
    return _Refused(acted.at, acted.error, acted.form, post.get("size", "")) if acted else _NOTHING


def _cards(
    site: Site, lines: list[HomeLine], now: datetime, units: str, refused: _Refused
) -> list[FilterCard]:
    today, policy = local_today(site, now), Policy.the()
    slots = [row.line.slot for row in lines]
    keys = [slot.pk for slot in slots]
    sent = set(SentFilter.objects.filter(slot__in=keys).values_list("slot", flat=True))
    rows = FilterChange.objects.filter(slot__in=keys, undone_at=None, changed_on__lte=today)
    last = {row.slot_id: row for row in rows.order_by("changed_at")}
    shown = {
        row.slot_id: row for row in Photograph.objects.standing().filter(slot__in=keys).order_by("taken_at")
    }
    put_off = {slot.pk: days for slot, days in waits(slots, today)}
    empty = change_forms(slots, today)
    same_place = alike(slots)
    return [
        FilterCard(
            row=row,
            picture=_picture(slot),
            photograph=shown.get(slot.pk),
            why=explain(slot, getattr(slot, "plan", None), today, policy, units).why,
            scale=_scale(slot),
            share=_share(slot),
            last=last.get(slot.pk),
            form=refused.of(slot).form or empty[slot.pk],
            error=refused.of(slot).error,
            typed_size=refused.of(slot).size,
            waits=put_off[slot.pk],
            is_sent=slot.pk in sent,
            change_by=slot.changed_by != FilterSlot.ChangedBy.TECHNICIAN and _dated(slot),
            alike=slot.pk in same_place,
            folded=len(lines) > _MOST_OPEN
            and row.shape not in ("past", "due")
            and not refused.of(slot).error,
        )
        for row, slot in zip(lines, slots, strict=True)
    ]


def _dated(slot: FilterSlot) -> bool:
    plan = getattr(slot, "plan", None)
    return plan is not None and plan.due_on is not None


def _picture(slot: FilterSlot) -> str:
    place = slot.location or slot.name
    return place_picture(
        place, place, _("The arrow on the filter's frame points with the air, to the blower.")
    )


def _share(slot: FilterSlot) -> str:
    share = loaded_share(getattr(slot, "plan", None))
    if share is None:
        return ""
    return _("%(share)s %% of the way from clean to its limit") % {"share": round(100 * max(share, 0.0))}


def _scale(slot: FilterSlot) -> str:
    share = loaded_share(getattr(slot, "plan", None))
    return "" if share is None else small_gauge(_share(slot), tube_words(), share)


def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """What the household does about its filters; the page that follows says what came of it."""
    site, now = site_or_404(signed_in(request), pk), timezone.now()
    slots = FilterSlot.objects.in_use().filter(system__site=site)
    asked = Asked(
        site,
        list(slots.select_related("system__site", "plan", "first_media")),
        False,
        signed_in(request).person,
    )
    acted = act(request.POST, asked, now)
    if acted.error and acted.at is not None:
        return page(request, site, refused=acted, status=422)
    if acted.error:
        messages.error(request, acted.error)
    else:
        messages.success(request, f"{acted.said} {acted.next_dates}".strip())
    # The form led to its card; the word of thanks stands at the top.
    return redirect(f"{reverse('site', args=[pk])}#top")


def wishes(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what somebody wants to hear, and in which language."""
    site, person = site_or_404(signed_in(request), pk), _person(request)
    before, now = wanted_of(person), timezone.now()
    form = WishesForm(request.POST, instance=person)
    if not form.is_valid():
        return page(request, site, wishes=form, status=422)
    form.write_down(before, now, Wish.How.OWN_PAGE)
    with translation.override(person.language):
        messages.success(request, _("Your wishes are written down."))
    return redirect("site", pk)


def data(request: HttpRequest) -> HttpResponse:
    """All that is on record about whoever asks, as a file."""
    told = own_data.of(_person(request), timezone.now())
    answer = HttpResponse(json.dumps(told, ensure_ascii=False, indent=2), content_type="application/json")
    answer["Content-Disposition"] = 'attachment; filename="my_data.json"'
    return answer


def erase(request: HttpRequest) -> HttpResponse:
    """Forget whoever asks, once they ticked that they mean it."""
    person = _person(request)
    if not request.POST.get("sure"):
        messages.error(request, _("Nothing was erased: tick that you mean it."))
        return redirect("start")
    erasure.erase(person, timezone.now())
    logout(request)
    context: dict[str, Any] = {"why": _("You are erased from our record. Thank you for having been with us.")}
    return render(request, "schedules/closed.html", context | {"desk": Desk.the()})


def _person(request: HttpRequest) -> Person:
    person = signed_in(request).person
    if person is None:
        raise Http404
    return person
