"""The figures as they are shown: as of now, on a large desk as of the morning."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from equipment.models import FilterSlot
from schedules import figures
from schedules.day_results import of_the_day
from schedules.figures import Oldest, Table, Tally

KEY = "figures"


@dataclass(frozen=True)
class Shown:
    """The table and the filters longest past their date, by branch (None: of all); ``at``: as of when."""

    table: Table
    oldest: dict[int | None, Oldest]
    at: datetime | None


def shown(now: datetime) -> Shown:
    """The figures of the day."""
    told, at = of_the_day(KEY, now, lambda: _as_json(now))
    cells = {
        (figure, branch, date.fromisoformat(month)): Tally(*numbers)
        for figure, branch, month, *numbers in told["cells"]
    }
    months = [date.fromisoformat(month) for month in told["months"]]
    table = Table(months, [(key, name) for key, name in told["branches"]], cells)
    return Shown(table, _oldest(told["oldest"]), at)


def _as_json(now: datetime) -> dict[str, Any]:
    table = figures.table(now)
    keys = [None, *(key for key, _name in table.branches if len(table.branches) > 1)]
    oldest = [(key, figures.oldest(now, key)) for key in keys]
    return {
        "months": [month.isoformat() for month in table.months],
        "branches": table.branches,
        "cells": [
            [figure, branch, month.isoformat(), tally.amount, tally.of, tally.most]
            for (figure, branch, month), tally in table.cells.items()
        ],
        "oldest": [[key, one.slot.pk if one.slot else None, one.days, one.count] for key, one in oldest],
    }


def _oldest(rows: list[list[Any]]) -> dict[int | None, Oldest]:
    slots = FilterSlot.objects.select_related("plan", "system__site__customer")
    found = slots.in_bulk([slot for _key, slot, _days, _count in rows if slot])
    return {key: Oldest(found.get(slot), days, count) for key, slot, days, count in rows}
