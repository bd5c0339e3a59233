"""Dates that were given, and the days on which the filters were changed."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from equipment.models import FilterChange
from schedules.models import KeptDate, Plan


def note(pairs: Sequence[tuple[Plan, Plan]]) -> None:
    """Of each slot's plan as stored and as it is now: keep the old date where another filter went in since,
    and forget it where that change was taken back.

    A filter that is only supposed to be another one ends no date.
    """
    rows = [row for old, new in pairs if (row := _ended(old, new))]
    if rows:
        KeptDate.objects.bulk_create(_on_record(rows), ignore_conflicts=True)
    for old, new in pairs:
        if _back(old, new):
            KeptDate.objects.filter(slot=old.slot_id, began_on__gte=new.life_began_on).delete()


def _ended(old: Plan, new: Plan) -> KeptDate | None:
    began, due, ended = old.life_began_on, old.due_on, new.life_began_on
    if began is None or due is None or ended is None or ended <= began:
        return None
    if not (_certain(old) and _certain(new)):
        return None
    return KeptDate(
        slot_id=old.slot_id, began_on=began, due_on=due, reason=old.reason, as_of=old.as_of, ended_on=ended
    )


def _on_record(rows: list[KeptDate]) -> list[KeptDate]:
    """Those that a change ended, on the day of the first one: where somebody only put right when the filter
    went in, nothing ended."""
    changes = FilterChange.objects.filter(slot__in=[row.slot_id for row in rows], undone_at=None)
    days: dict[int, list[date]] = defaultdict(list)
    for slot, on in changes.order_by("changed_on").values_list("slot", "changed_on"):
        days[slot].append(on)
    found = []
    for row in rows:
        if row.ended_on in days[row.slot_id]:
            row.ended_on = next(on for on in days[row.slot_id] if on > row.began_on)
            found.append(row)
    return found


def _certain(plan: Plan) -> bool:
    return "begun_anew" not in plan.notes


def _back(old: Plan, new: Plan) -> bool:
    return bool(old.life_began_on and new.life_began_on and new.life_began_on < old.life_began_on)
