"""Plans written: those that differ from the stored ones, and never over a newer one."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from django.db import transaction

from equipment import bulk, bulk_read
from equipment.models import FilterSlot
from schedules import kept_dates
from schedules.left_out import as_far_as_possible
from schedules.models import DateBefore, Plan
from schedules.plan_rows import Dated

COMPARED = (
    "due_on", "reason", "p10_on", "p50_on", "p90_on", "drop_now_pa", "clean_drop_pa", "limit_drop_pa",
    "run_hours", "life_began_on", "notes", "findings", "finding_count", "as_of", "facts_at", "weather_at",
    "accepted_risk",
)  # fmt: skip
_KEPT = ("due_on", "reason", "p10_on", "p90_on", "life_began_on")
_BEGAN, _AS_OF, _FACTS_AT = map(COMPARED.index, ("life_began_on", "as_of", "facts_at"))
# Whoever began on an earlier day comes too late, and whoever began from older facts, unless the new plan
# alone is of the slot's facts: one whose transaction took longer stamps with an earlier moment, and where a
# desk's zone was moved west it is the day before once more.
_IN_TIME = """
    (excluded.as_of >= schedules_plan.as_of AND excluded.facts_at >= schedules_plan.facts_at)
    OR (excluded.facts_at <> schedules_plan.facts_at AND excluded.facts_at = (
        SELECT facts_changed_at FROM equipment_filterslot AS slot WHERE slot.id = schedules_plan.slot_id
    ))
"""


class Stored(NamedTuple):
    """How many plans were ``written``, and of how many of them the due date or its reason ``moved``."""

    written: int
    moved: int


def store(items: Sequence[Dated]) -> Stored:
    """Write the plans that differ from the stored ones; one that the database does not take is left out.

    Where another worker has meanwhile stored a plan of newer facts or of a later day, that one stays.
    """
    parts = list(as_far_as_possible(items, _store, _by_name))
    return Stored(sum(part.written for part in parts), sum(part.moved for part in parts))


def _by_name(item: Dated) -> tuple[int, str]:
    home = item.slot.system.site_id
    return home, f"the plan of filter {item.slot.pk} in home {home} cannot be stored"


def _store(items: Sequence[Dated]) -> Stored:
    rows = bulk_read.among(Plan.objects.order_by(), "slot_id", (item.slot.pk for item in items))
    stored = {slot: values for slot, *values in bulk_read.tuples(rows.values_list("slot_id", *COMPARED))}
    fresh = _in_time([item.plan for item in items if _values(item.plan) != stored.get(item.slot.pk)], stored)
    if not fresh:
        return Stored(0, 0)
    with transaction.atomic():
        _note_kept([plan for plan in fresh if _began_anew(plan, stored.get(plan.slot_id))])
        moved = _note_moved(fresh, stored)
        _write(fresh)
    return Stored(len(fresh), moved)


def _in_time(plans: list[Plan], stored: Mapping[int, list[Any]]) -> list[Plan]:
    """Those that will not give way to the stored one: of no other is it kept that a date moved."""
    later = {plan.slot_id for plan in plans if _is_later(stored.get(plan.slot_id), plan)}
    if not later:
        return plans
    stamps = dict(FilterSlot.objects.filter(pk__in=later).values_list("pk", "facts_changed_at"))
    return [
        plan for plan in plans if plan.slot_id not in later or _takes_over(stored[plan.slot_id], plan, stamps)
    ]


def _is_later(was: list[Any] | None, plan: Plan) -> bool:
    return was is not None and bool(was[_AS_OF] > plan.as_of or was[_FACTS_AT] > plan.facts_at)


def _takes_over(was: list[Any], plan: Plan, stamps: Mapping[int, datetime]) -> bool:
    return bool(plan.facts_at == stamps.get(plan.slot_id) != was[_FACTS_AT])


def _values(plan: Plan) -> list[Any]:
    return [getattr(plan, name) for name in COMPARED]


def _began_anew(plan: Plan, before: list[Any] | None) -> bool:
    return before is not None and before[_BEGAN] != plan.life_began_on


def _note_moved(plans: Sequence[Plan], stored: Mapping[int, list[Any]]) -> int:
    """Keep every date that moved, with what moved it; how many did."""
    rows: list[dict[str, Any]] = []
    for plan in plans:
        if plan.slot_id in stored:
            was = dict(zip(COMPARED, stored[plan.slot_id], strict=True))
            if (was["due_on"], was["reason"]) != (plan.due_on, plan.reason):
                kept = {name: was[name] for name in _KEPT}
                rows.append(
                    kept | {"slot_id": plan.slot_id, "until": plan.made_at, "moved": _moved(was, plan)}
                )
    if rows:
        bulk.insert(DateBefore, {name: [row[name] for row in rows] for name in rows[0]})
    return len(rows)


def _moved(was: Mapping[str, Any], plan: Plan) -> str:
    if was["facts_at"] != plan.facts_at:
        return DateBefore.Moved.FACT.value
    moved = DateBefore.Moved.WEATHER if was["weather_at"] != plan.weather_at else DateBefore.Moved.DAY
    return moved.value


def _note_kept(plans: Sequence[Plan]) -> None:
    if plans:
        stored = Plan.objects.in_bulk([plan.slot_id for plan in plans], field_name="slot_id")
        kept_dates.note([(stored[plan.slot_id], plan) for plan in plans if plan.slot_id in stored])


def _write(plans: Sequence[Plan]) -> None:
    columns = [Plan._meta.get_field(name) for name in ("slot", *COMPARED, "made_at")]
    in_order = sorted(plans, key=lambda plan: plan.slot_id)
    bulk.put(Plan, "slot_id", columns, in_order, _IN_TIME)
