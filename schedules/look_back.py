"""Dates as they would have been given in past months, beside the changes that came: for a record that was
kept before the desk gave dates."""

from collections import defaultdict
from datetime import date, datetime, timedelta

from django.db.models import QuerySet

from equipment.models import FilterChange
from schedules import due
from schedules.fleet import prior_of_the_day
from schedules.models import KeptDate


def look_back(now: datetime, months: int = 12) -> int:
    """Hold the changes of the last ``months`` months to the date that the facts of each month's first day
    give; how many were held. What is kept already stays; a filter that went in later has no date then."""
    changed: dict[date, list[FilterChange]] = defaultdict(list)
    since = _first(due.today(now), months)
    for change in _changes(since, due.today(now)):
        # What was changed on a first is held to the month before.
        changed[(change.changed_on - timedelta(days=1)).replace(day=1)].append(change)
    before = KeptDate.objects.count()
    for as_of, some in sorted(changed.items()):
        KeptDate.objects.bulk_create(_held(as_of, some, now), ignore_conflicts=True)
    return KeptDate.objects.count() - before


def _changes(since: date, until: date) -> "QuerySet[FilterChange]":
    rows = FilterChange.objects.filter(undone_at=None, changed_on__range=(since, until))
    return rows.select_related("slot")


def _first(today: date, months: int) -> date:
    first = today.replace(day=1)
    for _month in range(months - 1):
        first = (first - timedelta(days=1)).replace(day=1)
    return first


def _held(as_of: date, changes: list[FilterChange], now: datetime) -> list[KeptDate]:
    ended: dict[int, date] = {}
    for change in sorted(changes, key=lambda one: one.changed_on):
        if change.changed_on > as_of:
            ended.setdefault(change.slot_id, change.changed_on)
    systems = sorted({change.slot.system_id for change in changes})
    rows = []
    for item in due.dated(as_of, now, prior_of_the_day(as_of, now), systems):
        plan, on = item.plan, ended.get(item.slot.pk)
        began, due_on = plan.life_began_on, plan.due_on
        if on is None or began is None or due_on is None or "begun_anew" in plan.notes:
            continue
        rows.append(
            KeptDate(
                slot=item.slot, began_on=began, due_on=due_on, reason=plan.reason, as_of=as_of, ended_on=on
            )
        )
    return rows
