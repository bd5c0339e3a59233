"""What a household does about its filters: changed, said by mistake, not yet, another size, out of reach,
send somebody. The same behind a letter's link and on the household's own page."""

from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db import transaction
from django.http import QueryDict
from django.utils.translation import gettext as _

from equipment.fields import whole_number
from equipment.models import Desk, FilterChange, FilterSlot, Person, Site
from equipment.record import NotRecordable, Told, record_change, undo_change
from schedules import answers, due, supply, visits
from schedules.bookable import NotBookable
from schedules.change_form import ChangeForm
from schedules.explain import say_day
from schedules.models import Plan
from schedules.notice_slots import of_a_technician
from schedules.visits import Booking
from schedules.waiting import cost_of_waiting
from shared import clock

_PUT_OFF_DAYS = (3, 7, 14)
_SAME_PRESS = timedelta(minutes=10)
_MOST_NAMED = 3


@dataclass(frozen=True)
class Asked:
    """A home and the filters that are spoken of; ``person``: who speaks, where that is known."""

    site: Site
    slots: list[FilterSlot]
    all_done: bool
    person: Person | None = None


@dataclass(frozen=True)
class Acted:
    """What came of it: ``said`` with the ``next_dates`` of what was changed, or the ``error`` for which
    nothing was done, with the key of the filter that it arose ``at`` and the form of its change as it was
    typed; changes written down, and whether the filters spoken of are ``settled`` by it."""

    said: str = ""
    next_dates: str = ""
    error: str = ""
    at: int | None = None
    form: ChangeForm | None = None
    changes: list[FilterChange] = field(default_factory=list)
    settled: bool = False


def act(post: QueryDict, asked: Asked, now: datetime) -> Acted:
    """Do what was pressed: ``what`` names it, nothing means changed."""
    return _ACTS.get(post.get("what", ""), _changed)(post, asked, now)


def local_today(site: Site, now: datetime) -> date:
    """The day at the home."""
    return clock.local_day(now, site.zone(Desk.the().timezone))


def waits(slots: list[FilterSlot], today: date) -> list[tuple[FilterSlot, list[tuple[int, str]]]]:
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


def _changed(post: QueryDict, asked: Asked, now: datetime) -> Acted:
    """Each filter ticked was changed on its day."""
    ticked = [slot for slot in asked.slots if post.get(f"slot{slot.pk}-done")]
    if not ticked:
        return Acted(error=_("Tick the filters that you changed."))
    today = local_today(asked.site, now)
    forms = [(slot, ChangeForm(slot, today, post, prefix=f"slot{slot.pk}")) for slot in ticked]
    for slot, form in forms:
        if not form.is_valid():
            why = " ".join(str(text) for texts in form.errors.values() for text in texts)
            return Acted(error=f"{_place(slot, asked)}: {why}", at=slot.pk, form=form)
    done = []
    slot, form = forms[0]
    try:
        with transaction.atomic():
            for slot, form in forms:
                done.append(_told_already(slot, form, now) or _record(slot, form, now))
    except NotRecordable as error:
        form.add_error("on", str(error))
        return Acted(error=f"{_place(slot, asked)}: {error}", at=slot.pk, form=form)
    visits.drop_done([slot.pk for slot in ticked])
    due.replan(now, FilterSlot.objects.filter(system__site=asked.site))
    said = _("Thank you. Your new dates are below.")
    return Acted(said=said, next_dates=_next_dates(ticked, asked), changes=done)


def _record(slot: FilterSlot, form: ChangeForm, now: datetime) -> FilterChange:
    told = Told(FilterChange.Told.OCCUPANT, FilterSlot.ChangedBy.OCCUPANT)
    return record_change(slot, form.cleaned_data["on"], form.cleaned_data["medium"], told, now)


def _told_already(slot: FilterSlot, form: ChangeForm, now: datetime) -> FilterChange | None:
    """The same change, told a moment ago: a second press, or a second tab."""
    medium = form.cleaned_data["medium"]
    rows = FilterChange.objects.filter(
        slot=slot, changed_on=form.cleaned_data["on"], told=FilterChange.Told.OCCUPANT, undone_at=None,
        recorded_at__gt=now - _SAME_PRESS,
    )  # fmt: skip
    return (rows.filter(media=medium) if medium else rows).first()


def _next_dates(changed: list[FilterSlot], asked: Asked) -> str:
    """The next date of each filter, where they are few."""
    plans = Plan.objects.filter(slot__in=changed, due_on__isnull=False).select_related("slot")
    if len(changed) > _MOST_NAMED:
        return ""
    return " ".join(
        _("%(place)s: next by %(day)s.") % {"place": _place(plan.slot, asked), "day": say_day(plan.due_on)}
        for plan in plans.order_by("due_on", "slot")
    )


def alike(slots: Iterable[FilterSlot]) -> set[int]:
    """Those that their place alone does not tell apart, by their keys: they are told with their codes."""
    slots = list(slots)
    places = Counter(slot.location for slot in slots)
    return {slot.pk for slot in slots if places[slot.location] > 1}


def place_of(slot: FilterSlot, same: set[int]) -> str:
    """Where it is, with its code where it is among the ``same`` that their place does not tell apart."""
    code = f" ({slot.name})" if slot.location and slot.pk in same else ""
    return f"{slot.location or slot.name}{code}"


def _place(slot: FilterSlot, asked: Asked) -> str:
    return place_of(slot, alike(asked.slots))


def _undo(post: QueryDict, asked: Asked, now: datetime) -> Acted:
    change = FilterChange.objects.filter(
        pk=whole_number(post.get("change")), slot__system__site=asked.site, undone_at=None
    ).first()
    if change is None:
        return Acted(error=_("That change is not on record."))
    try:
        undo_change(change, now)
    except NotRecordable as error:
        return Acted(error=str(error))
    due.replan(now, FilterSlot.objects.filter(system__site=asked.site))
    return Acted(said=_("Taken back. The old date stands again."))


def _send_somebody(post: QueryDict, asked: Asked, now: datetime) -> Acted:
    slots = asked.slots or list(FilterSlot.objects.in_use().filter(system__site=asked.site))
    waiting = of_a_technician(slot.pk for slot in slots)
    slots = [slot for slot in slots if slot.pk not in waiting]
    try:
        visits.book(Booking(asked.site, slots, []), now)
    except NotBookable:
        return Acted(said=_("We know already, and will ring you."))
    return Acted(said=_("We will ring you to agree on a day."))


def _otherwise(post: QueryDict, asked: Asked, now: datetime) -> Acted:
    """Not yet, another size, or out of reach: of one filter that the link leads to."""
    slot = next((one for one in asked.slots if one.pk == whole_number(post.get("slot"))), None)
    if slot is None:
        return Acted(error=_("Say which filter you mean."))
    try:
        said = _OTHERWISE[post.get("what", "")](post, slot, asked, now)
    except answers.NotAnswerable as error:
        return Acted(error=str(error), at=slot.pk)
    return Acted(said=said)


def _not_yet(post: QueryDict, slot: FilterSlot, asked: Asked, now: datetime) -> str:
    chosen = whole_number(post.get("days"))
    if chosen not in _PUT_OFF_DAYS:
        raise answers.NotAnswerable(_("Choose until when it waits."))
    until = local_today(asked.site, now) + timedelta(days=chosen)
    answers.put_off(slot, asked.person, until, now)
    return _("We remind you on %(day)s.") % {"day": say_day(until)}


def _wrong_size(post: QueryDict, slot: FilterSlot, asked: Asked, now: datetime) -> str:
    answers.of_another_size(slot, asked.person, post.get("size", ""), now)
    return _("Thank you. We look into the size and ring you; until then no letter comes about this filter.")


def _out_of_reach(_post: QueryDict, slot: FilterSlot, asked: Asked, now: datetime) -> str:
    answers.out_of_reach(slot, asked.person, now)
    with suppress(NotBookable):
        visits.book(Booking(asked.site, [slot], []), now)
    return _("Leave the ladder where it is: we ring you to agree on a day.")


def _post_it(_post: QueryDict, slot: FilterSlot, _asked: Asked, now: datetime) -> str:
    supply.send_to(slot, True, None, now)
    return _("We send you this filter in time for its date, from now on.")


def _fetch_it(_post: QueryDict, slot: FilterSlot, _asked: Asked, now: datetime) -> str:
    supply.send_to(slot, False, None, now)
    return _("We do not send this filter any more: get it yourselves.")


_OTHERWISE: dict[str, Callable[[QueryDict, FilterSlot, Asked, datetime], str]] = {
    "not-yet": _not_yet,
    "wrong-size": _wrong_size,
    "no-reach": _out_of_reach,
    "post-it": _post_it,
    "fetch-it": _fetch_it,
}
_ACTS: dict[str, Callable[[QueryDict, Asked, datetime], Acted]] = {
    "send": _send_somebody,
    "undo": _undo,
    **dict.fromkeys(_OTHERWISE, _otherwise),
}
