"""What phones fetch before the attic and send after it."""

import json
import math
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.models import Desk, FilterSlot
from schedules import due, slot_entries, tags
from schedules.field_entries import Received, Sent, take
from schedules.forms import LONGEST_TEXT
from schedules.models import FieldEntry, Technician, Visit
from schedules.views.tags import form_at

MOST_AT_ONCE = 25
_MOST_FIELDS = 400
# Beyond the years that a clock may show, so that no sum of it overflows.
_MOST_MS = 4e12


class _NotUnderstood(ValueError):
    """What came is none of ours; the text says what."""


def my_day(request: HttpRequest) -> HttpResponse:
    """What a phone keeps for today: ``user``, a ``token`` for sending, the desk's ``now`` and the end of the
    local day (``until``) in epoch milliseconds, the addresses of today's pages (``keep``), and where each
    code of today's ``tags`` leads."""
    user, now = signed_in(request), timezone.now()
    day = due.today(now)
    technician = Technician.objects.filter(user=user, gone_on=None).first()
    answer = {
        "user": user.pk,
        "token": get_token(request),
        "now": _ms(now),
        "day": day.isoformat(),
        "until": _ms(due.end_of_today(now, Desk.the())),
        "keep": _pages(technician, day.isoformat()) if technician else [],
        "tags": _tags(technician, day.isoformat()) if technician else {},
    }
    response = JsonResponse(answer)
    response["Cache-Control"] = "no-store"
    return response


def _visits(technician: Technician, day: str) -> QuerySet[Visit]:
    return Visit.objects.filter(technician=technician, day=day).exclude(state=Visit.State.CANCELLED)


def _pages(technician: Technician, day: str) -> list[str]:
    """The day's sheet, its van's list, its visits and their filters."""
    rows = _visits(technician, day)
    visits = rows.order_by("stop_number", "pk").values_list("pk", flat=True)
    slots = rows.filter(jobs__slot__isnull=False).values_list("jobs__slot", flat=True).distinct()
    return [
        reverse("day", args=[technician.pk, day]),
        reverse("van", args=[technician.pk, day]),
        *(reverse("visit", args=[pk]) for pk in visits),
        *(reverse("filter", args=[pk]) for pk in sorted(slots)),
    ]


def _tags(technician: Technician, day: str) -> dict[str, str]:
    """Each code with the form that it leads to, or its filter's page where the visit is over."""
    rows = tags.at_visits(_visits(technician, day).values_list("pk", flat=True))
    over = {code: reverse("filter", args=[slot]) for code, slot, _visit, is_open in rows if not is_open}
    return over | {code: form_at(visit, slot) for code, slot, visit, is_open in reversed(rows) if is_open}


def come_in(request: HttpRequest) -> HttpResponse:
    """Entries of one phone, at most 25, in the order written; the answer tells what became of each. A reading
    or a change names its ``slot``, every other kind its ``visit``.

    400 says what was not understood and stores nothing; 403 where somebody else is signed in than wrote them.
    """
    user, now = signed_in(request), timezone.now()
    try:
        writer, entries = _read(request.body, now)
    except _NotUnderstood as fault:
        return JsonResponse({"error": str(fault)}, status=400)
    if writer != user.pk:
        return JsonResponse({"error": "somebody else is signed in"}, status=403)
    units = units_of(user)
    told = [_told(request, entry, take(entry, user, now, units)) for entry in entries]
    return JsonResponse({"now": _ms(timezone.now()), "entries": told})


def _told(request: HttpRequest, sent: Sent, became: Received) -> dict[str, Any]:
    """What the phone is answered of an entry; what was taken is said on the next page to whoever stands
    before the form, all else by the form itself."""
    if sent.here and became.state == FieldEntry.State.TAKEN:
        messages.success(request, became.said or _done_words(sent))
    return {
        "id": str(sent.uid),
        "state": became.state,
        "said": became.said,
        "faults": became.faults,
        "next": _next(sent) if became.state != "ask" else "",
    }


def _done_words(sent: Sent) -> str:
    if sent.kind == FieldEntry.Kind.ARRIVED:
        return _("Noted: at the door.")
    if sent.kind == FieldEntry.Kind.NO_ACCESS:
        return _("Noted: nobody opened. The desk rings them.")
    if sent.kind == FieldEntry.Kind.DISPLACED:
        return _("Noted: it waits for another day, first in the next plan. Whoever expects it is told.")
    if sent.kind == FieldEntry.Kind.READING:
        return _("The reading is on record and the date was reckoned again.")
    if sent.kind == FieldEntry.Kind.CHANGED:
        return _("The change is on record and the date has moved.")
    return _("Done. The next dates are reckoned.")


def _next(sent: Sent) -> str:
    """Where to go on; nothing where what it was about is gone."""
    if sent.slot is not None:
        there = FilterSlot.objects.filter(pk=sent.slot).exists()
        return reverse("filter", args=[sent.slot]) if there else ""
    visit = Visit.objects.filter(pk=sent.visit or 0).first()
    if visit is None:
        return ""
    if sent.kind == FieldEntry.Kind.COMPLETED:
        return reverse("site", args=[visit.site_id])
    return reverse("visit", args=[visit.pk])


def _read(body: bytes, now: datetime) -> tuple[int, list[Sent]]:
    """Who wrote, and what. Raises _NotUnderstood."""
    try:
        told = json.loads(body)
        behind = now - _instant(told["sent_at"])
        rows = told["entries"]
        if not isinstance(rows, list) or not 0 < len(rows) <= MOST_AT_ONCE:
            raise _NotUnderstood(f"entries has to be a list of 1 to {MOST_AT_ONCE}")
        return int(told["user"]), [_entry(row, behind) for row in rows]
    except _NotUnderstood:
        raise
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError, AttributeError) as fault:
        raise _NotUnderstood(f"{type(fault).__name__}: {fault}") from None


def _entry(row: dict[str, Any], behind: timedelta) -> Sent:
    kind, skew = row["kind"], row.get("skew")
    if kind not in FieldEntry.Kind.values:
        raise _NotUnderstood("kind is none of " + ", ".join(FieldEntry.Kind.values))
    of_slot = kind in slot_entries.KINDS
    return Sent(
        uid=UUID(str(row["id"])),
        device=UUID(str(row["device"])),
        number=_whole(row, "n"),
        visit=None if of_slot else _whole(row, "visit"),
        slot=_whole(row, "slot") if of_slot else None,
        kind=kind,
        pressed_at=_instant(row["at"]),
        clock_behind=behind,
        clock_behind_then=None if skew is None else timedelta(milliseconds=_finite(skew)),
        here=row.get("here") is True,
        fields=_fields(row.get("fields") or {}),
    )


def _whole(row: dict[str, Any], name: str) -> int:
    value = row[name]
    if not isinstance(value, int) or not 0 <= value < 2**53:
        raise _NotUnderstood(f"{name} has to be a whole number")
    return value


def _fields(told: dict[str, Any]) -> dict[str, list[str]]:
    if len(told) > _MOST_FIELDS:
        raise _NotUnderstood("so many fields has no form")
    found = {_storable(str(name)): [_storable(str(one)) for one in values] for name, values in told.items()}
    if any(len(one) > LONGEST_TEXT for values in found.values() for one in values):
        raise _NotUnderstood(f"a field holds more than {LONGEST_TEXT} characters")
    return {name: values for name, values in found.items() if name != "csrfmiddlewaretoken"}


def _storable(text: str) -> str:
    """Without noughts and halves of characters, which no database takes."""
    return text.replace("\0", "").encode("utf-8", "replace").decode("utf-8")


def _instant(ms: object) -> datetime:
    return datetime.fromtimestamp(_finite(ms) / 1000, UTC)


def _finite(ms: object) -> float:
    if isinstance(ms, bool) or not isinstance(ms, int | float) or not math.isfinite(ms) or abs(ms) > _MOST_MS:
        raise _NotUnderstood("a time has to be a number of milliseconds")
    return float(ms)


def _ms(at: datetime) -> int:
    return round(at.timestamp() * 1000)
