"""Plans written: those that differ from the stored ones, and never over a newer one."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from equipment import bulk, bulk_read
from schedules import kept_dates
from schedules.models import DateBefore, Plan
from schedules.plan_rows import Dated

COMPARED = (
    "due_on", "reason", "p10_on", "p50_on", "p90_on", "drop_now_pa", "clean_drop_pa", "limit_drop_pa",
    "run_hours", "life_began_on", "notes", "findings", "finding_count", "as_of", "facts_at", "weather_at",
)  # fmt: skip
_KEPT = ("due_on", "reason", "p10_on", "p90_on", "life_began_on")
_BEGAN = COMPARED.index("life_began_on")
# Whoever began from older facts, or on an earlier day, comes too late.
_NOT_OLDER = ("as_of", "facts_at")


def store(items: Sequence[Dated]) -> int:
    """Write the plans that differ from the stored ones; how many did.

    Where another worker has meanwhile stored a plan of newer facts or of a later day, that one stays.
    """
    rows = bulk_read.among(Plan.objects.order_by(), "slot_id", (item.slot.pk for item in items))
    stored = {slot: values for slot, *values in bulk_read.tuples(rows.values_list("slot_id", *COMPARED))}
    fresh = [item.plan for item in items if _values(item.plan) != stored.get(item.slot.pk)]
    if fresh:
        with transaction.atomic():
            _note_kept([plan for plan in fresh if _began_anew(plan, stored.get(plan.slot_id))])
            _note_moved(fresh, stored)
            _write(fresh)
    return len(fresh)


def _values(plan: Plan) -> list[Any]:
    return [getattr(plan, name) for name in COMPARED]


def _began_anew(plan: Plan, before: list[Any] | None) -> bool:
    return before is not None and before[_BEGAN] != plan.life_began_on


def _note_moved(plans: Sequence[Plan], stored: Mapping[int, list[Any]]) -> None:
    """Keep every date that moved, with what moved it."""
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
    bulk.put(Plan, "slot_id", columns, in_order, _NOT_OLDER)
