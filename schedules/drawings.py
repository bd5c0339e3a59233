"""The gauge and the life curve of one slot, with their numbers."""

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from django.utils.translation import gettext as _

from equipment.models import FilterSlot
from schedules import due
from schedules.explain import loaded_share, say_day, say_short
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.models import Plan
from schedules.planning.arrays import FloatArray
from schedules.planning.climate import day_of
from schedules.planning.curve import life_path
from schedules.planning.forecast import forecast
from shared.charts import Curve, Mark, gauge, life_curve
from shared.units import PRESSURE, from_si, label, show


@dataclass(frozen=True)
class Drawings:
    """SVG texts and the life curve's numbers as rows of day, low, middle, high in the reader's unit."""

    gauge: str
    curve: str
    rows: list[tuple[str, str, str, str]]
    unit: str


def filter_drawings(slot: FilterSlot, plan: Plan | None, now: datetime, units: str) -> Drawings | None:
    """The drawings of a slot whose drop can be reckoned; None for another."""
    if plan is None or plan.limit_drop_pa is None or plan.drop_now_pa is None or plan.p50_on is None:
        return None
    gathered = Gatherer(plan.as_of).gather([slot.system_id])
    place = next(i for i, facts in enumerate(gathered.slots) if facts.row.pk == slot.pk)
    result = forecast(gathered.facts, due.settings(), prior_of_the_day(plan.as_of, now))
    last = plan.p90_on or plan.due_on or plan.p50_on
    path = life_path(gathered.facts, result, place, last.toordinal())
    unit = PRESSURE.shown(units)[0]

    def shown(pressure_pa: float) -> float:
        return from_si(pressure_pa, unit, PRESSURE)

    curve = Curve(
        path.days.tolist(),
        *([shown(float(value)) for value in row] for row in (path.low, path.middle, path.high)),
    )
    facts = gathered.slots[place]
    rows = gathered.facts.readings
    mine = gathered.facts.lives.slot[rows.life] == place
    current = gathered.facts.lives.current[rows.life] & mine
    dots = [
        (float(at), shown(float(drop)))
        for at, drop in zip(rows.at[current], rows.drop_pa[current], strict=True)
    ]
    return Drawings(
        gauge=_gauge(plan, units),
        curve=life_curve(
            _("How the drop has grown and where it goes"),
            _description(plan, units),
            curve,
            dots,
            Mark(
                shown(plan.limit_drop_pa),
                _("limit %(drop)s") % {"drop": show(plan.limit_drop_pa, PRESSURE, units)},
            ),
            Mark(plan.as_of.toordinal() + 1, _("today")),
            _due_mark(plan, facts.now.began),
            label(PRESSURE, units),
        ),
        rows=_rows(path.days, curve),
        unit=label(PRESSURE, units),
    )


def _due_mark(plan: Plan, began: float) -> Mark | None:
    if plan.due_on is None or plan.due_on.toordinal() < began:
        return None
    return Mark(plan.due_on.toordinal() + 1, _("by %(day)s") % {"day": say_short(plan.due_on)})


def _gauge(plan: Plan, units: str) -> str:
    now, limit = plan.drop_now_pa or 0.0, plan.limit_drop_pa or 0.0
    return gauge(
        _("Where the drop stands"),
        _description(plan, units),
        now,
        Mark(plan.clean_drop_pa or 0.0, _("clean")),
        Mark(limit, _("limit")),
        _("now about %(drop)s") % {"drop": show(now, PRESSURE, units)},
    )


def _description(plan: Plan, units: str) -> str:
    share = loaded_share(plan)
    return _(
        "Clean %(clean)s, now about %(now)s, limit %(limit)s: %(share)s %% of the way. Due by %(day)s."
    ) % {
        "clean": show(plan.clean_drop_pa, PRESSURE, units),
        "now": show(plan.drop_now_pa, PRESSURE, units),
        "limit": show(plan.limit_drop_pa, PRESSURE, units),
        "share": round(100 * share) if share is not None else "–",
        "day": say_day(plan.due_on),
    }


def _rows(days: FloatArray, curve: Curve) -> list[tuple[str, str, str, str]]:
    chosen = np.unique(np.linspace(0, len(days) - 1, min(12, len(days))).astype(int))
    return [
        (
            say_day(_date(float(days[i]))),
            f"{curve.low[i]:.2f}",
            f"{curve.middle[i]:.2f}",
            f"{curve.high[i]:.2f}",
        )
        for i in chosen
    ]


def _date(at: float) -> date:
    return day_of(max(1, int(at - 1e-9)))
