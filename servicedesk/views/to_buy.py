"""Filters to buy: the list, its sheet, what is on its way, what each van should hold."""

import csv
import math
from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.fields import whole_number
from equipment.models import Media
from schedules import due, supply
from schedules.models import Purchase, SentFilter
from schedules.supply import NotOrderable
from schedules.to_buy import BuyLine, to_buy
from schedules.van_levels import VanLevel, van_levels
from servicedesk.prices_form import PricesForm
from shared.cells import harmless

_COLUMNS = (
    "media", "nominal_size", "merv", "buy", "needed", "days", "on_hand", "on_order", "for_vans",
    "price_of_order", "short_on",
)  # fmt: skip
# So many weeks stand in the table; the sheet has all of them.
_SHOWN_WEEKS = 6
# More digits are a label that was scanned into the wrong field.
_LONGEST_COUNT = 9


def page(request: HttpRequest) -> HttpResponse:
    """The list; POST writes down an order, what arrived of one, a count, what was sent, or another level."""
    now = timezone.now()
    if request.method == "POST":
        try:
            _write(request, now)
        except NotOrderable as error:
            messages.error(request, str(error))
        return redirect("to-buy")
    asked = PricesForm(request.GET or None)
    told, vans = to_buy(now, prices=asked.prices()), van_levels(now)
    lines = [line for line in told.lines if line.buy or line.needed or line.miscounted]
    for_vans = _for_vans(vans)
    context = {
        "told": told,
        "parts": _parts([_shown(line, now, for_vans[line.media.pk]) for line in lines]),
        "sizes": _by_size(lines),
        "lines": lines,
        "weeks": told.weeks[:_SHOWN_WEEKS],
        "count": sum(line.buy for line in told.lines),
        "open": Purchase.objects.filter(ended_on=None).select_related("media"),
        "vans": vans,
        "to_send": supply.to_send(now),
        "level": f"{told.level * 100:g}",
        "prices": asked,
        "asked": asked.is_bound and asked.is_valid(),
        "today": due.today(now),
        "units": units_of(request.user),
    }
    return render(request, "servicedesk/to_buy.html", context)


@dataclass(frozen=True)
class _Shown:
    """A line with its first weeks, what the vans would hold of it, and the day on which an order of today is
    here."""

    line: BuyLine
    weeks: list[tuple[float, int]]
    for_vans: int
    expected: date


def _shown(line: BuyLine, now: datetime, for_vans: int) -> _Shown:
    weeks = zip([round(value, 1) for value in line.by_week], line.until_week, strict=True)
    expected = due.today(now) + timedelta(days=line.expected)
    return _Shown(line, list(weeks)[:_SHOWN_WEEKS], for_vans, expected)


def _parts(lines: list[_Shown]) -> list[tuple[bool, list[_Shown]]]:
    """What wants doing, and folded behind it what does not."""
    wants = [row for row in lines if row.line.wants_doing]
    rest = [row for row in lines if not row.line.wants_doing]
    return [(False, wants), *([(True, rest)] if rest else [])]


def _for_vans(vans: list[VanLevel]) -> Counter[int]:
    """How many of each medium all vans would hold together."""
    found: Counter[int] = Counter()
    for van in vans:
        found.update({media.pk: count for media, count in van.counts})
    return found


def _by_size(lines: list[BuyLine]) -> list[dict[str, Any]]:
    """The sums of the sizes of which several media are kept."""
    found: dict[str, list[BuyLine]] = defaultdict(list)
    for line in lines:
        found[line.media.nominal_size].append(line)
    return [
        {
            "size": size,
            "media": len(some),
            "buy": sum(line.buy for line in some),
            "needed": sum(line.needed for line in some),
            "on_hand": sum(line.on_hand or 0 for line in some),
            "on_order": sum(line.on_order for line in some),
        }
        for size, some in found.items()
        if len(some) > 1
    ]


def _write(request: HttpRequest, now: datetime) -> None:
    """What one of the page's forms says. Raises NotOrderable."""
    post = request.POST
    if post.get("sent"):
        row = get_object_or_404(SentFilter.objects.select_related("slot"), pk=whole_number(post.get("sent")))
        supply.sent(row, now)
        said = _("On its way: %(size)s.") % {"size": row.slot.nominal_size}
    elif post.get("level"):
        supply.hold_to(_number(post["level"]))
        said = _("The list is held to that level from now on.")
    elif post.get("purchase"):
        said = _take_in(get_object_or_404(Purchase, pk=whole_number(post.get("purchase"))), request, now)
    else:
        media = Media.objects.filter(pk=whole_number(post.get("media"))).first()
        if media is None:
            raise NotOrderable(_("That filter is not on record."))
        said = _count(media, request) if post.get("counted") else _order(media, request, now)
    messages.success(request, said)


def _take_in(row: Purchase, request: HttpRequest, now: datetime) -> str:
    count, media = _how_many(request), row.media
    rest = supply.arrive(row, count, now, rest_comes=bool(request.POST.get("rest")))
    said = _("Taken in: %(n)s × %(name)s.") % {"n": count, "name": media}
    return f"{said} {_('%(n)s are still awaited.') % {'n': rest}}" if rest else said


def _count(media: Media, request: HttpRequest) -> str:
    count = _how_many(request)
    supply.counted(media, count)
    return _("Counted: %(n)s × %(name)s.") % {"n": count, "name": media}


def _order(media: Media, request: HttpRequest, now: datetime) -> str:
    count, day = _how_many(request), _day(request.POST.get("expected", ""))
    supply.order(media, count, day, signed_in(request), now)
    return _("Ordered: %(n)s × %(name)s.") % {"n": count, "name": media}


def _how_many(request: HttpRequest) -> int:
    typed = request.POST.get("count", "").strip()
    if not (typed.isascii() and typed.isdigit() and len(typed) <= _LONGEST_COUNT):
        raise NotOrderable(_("Write how many, as a whole number."))
    return int(typed)


def _number(text: str) -> float:
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise NotOrderable(_("Write the level as a number."))
    return found


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise NotOrderable(_("Write the day on which they are expected.")) from None


def sheet(request: HttpRequest) -> HttpResponse:
    """The list as CSV, a row a medium, with what each week should take and what suffices until its end."""
    now = timezone.now()
    told, for_vans = to_buy(now), _for_vans(van_levels(now))
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="filters_to_buy.csv"'
    out = csv.writer(answer)
    weeks = [f"week_of_{week.isoformat()}" for week in told.weeks]
    until = [f"needed_until_the_end_of_that_of_{week.isoformat()}" for week in told.weeks]
    out.writerow([*_COLUMNS, *weeks, *until])
    for line in told.lines:
        out.writerow(_row(line, for_vans[line.media.pk]))
    for one in told.without:
        out.writerow(["", one.size, *[""] * 9, *(f"{value:.3f}" for value in one.by_week)])
    return answer


def _row(line: BuyLine, for_vans: int) -> list[object]:
    known = "" if line.on_hand is None else line.on_hand
    price = "" if line.price is None else line.price
    size, weeks = line.media.nominal_size, [f"{value:.3f}" for value in line.by_week]
    name = harmless(line.media.name)
    return [
        name,
        size,
        line.media.merv,
        line.buy,
        line.needed,
        line.days,
        known,
        line.on_order,
        for_vans,
        price,
        line.short_on or "",
        *weeks,
        *line.until_week,
    ]
