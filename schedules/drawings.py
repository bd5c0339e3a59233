"""The gauge and the life curve of one slot, with their numbers."""

import math
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np
from django.utils import formats
from django.utils.translation import gettext as _

from equipment.models import FilterSlot
from equipment.unit_words import label, show
from schedules import due
from schedules.explain import loaded_share, say_day, say_short
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.models import Plan
from schedules.planning.arrays import FloatArray
from schedules.planning.climate import day_of
from schedules.planning.curve import life_path
from schedules.planning.forecast import forecast
from schedules.slot_rows import systems_of_home
from shared.charts import NARROW, WIDE, Curve, Life, Mark, Size, gauge, life_curve
from shared.units import PRESSURE, from_si


@dataclass(frozen=True)
class Drawings:
    """SVG texts and the life curve's numbers as rows of day, low, middle, high in the reader's unit.

    ``narrow_curve`` is the same curve for a telephone's width; ``carried`` holds by local ordinal what
    each reading that counts comes to at design airflow; ``caption`` says what is drawn.
    """

    gauge: str
    curve: str
    narrow_curve: str
    rows: list[tuple[str, str, str, str]]
    unit: str
    carried: dict[float, str]
    caption: str


def filter_drawings(slot: FilterSlot, plan: Plan | None, now: datetime, units: str) -> Drawings | None:
    """The drawings of a slot whose drop can be reckoned; None for another."""
    if plan is None or plan.limit_drop_pa is None or plan.drop_now_pa is None or plan.p50_on is None:
        return None
    gathered = Gatherer(plan.as_of).gather(systems_of_home(slot))
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
    life = Life(
        curve,
        dots,
        Mark(
            shown(plan.limit_drop_pa),
            _("limit %(drop)s") % {"drop": show(plan.limit_drop_pa, PRESSURE, units)},
        ),
        Mark(plan.as_of.toordinal() + 1, _("today")),
        _due_mark(plan, facts.now.began),
        _span(plan),
        [],
        label(PRESSURE, units),
    )
    return Drawings(
        gauge=_gauge(plan, units),
        curve=_curve(plan, life, WIDE, units),
        narrow_curve=_curve(plan, life, NARROW, units),
        rows=_rows(path.days, curve),
        unit=label(PRESSURE, units),
        carried={
            float(at): show(float(drop), PRESSURE, units)
            for at, drop in zip(rows.at[mine], rows.drop_pa[mine], strict=True)
        },
        caption=_caption(life),
    )


def _caption(life: Life) -> str:
    parts = [_("Line: what we expect. Shade: eight times in ten it lies there.")]
    if life.readings:
        parts.append(_("Dots: readings."))
    if life.span is not None:
        parts.append(_("Thick piece of the limit: the days between which it is likely reached."))
    return " ".join(parts)


def _curve(plan: Plan, life: Life, size: Size, units: str) -> str:
    dated = replace(life, dates=month_marks(*life.ends, size.dates))
    return life_curve(_("How the drop has grown and where it goes"), _description(plan, units), dated, size)


def month_marks(first: float, last: float, at_most: int) -> list[Mark]:
    """First days of months between two instants (ordinals), evenly apart, at most ``at_most`` of them."""
    start, end = day_of(math.ceil(first)), day_of(int(last))
    months = range(start.year * 12 + start.month - 1, end.year * 12 + end.month)
    days = [date(month // 12, month % 12 + 1, 1) for month in months]
    inside = [day for day in days if start <= day <= end]
    step = next(step for step in (1, 2, 3, 6, 12, 24, 60, 1200) if len(inside) <= step * at_most)
    chosen = [day for day in inside if (day.year * 12 + day.month - 1) % step == 0]
    return [Mark(day.toordinal(), formats.date_format(day, _("M Y"))) for day in chosen[:at_most]]


def _span(plan: Plan) -> tuple[float, float] | None:
    if plan.p10_on is None or plan.p90_on is None or plan.needs_technician:
        return None
    return plan.p10_on.toordinal() + 1.0, plan.p90_on.toordinal() + 1.0


def _due_mark(plan: Plan, began: float) -> Mark | None:
    if plan.due_on is None or plan.needs_technician or plan.due_on.toordinal() < began:
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
    said = (
        _("Clean %(clean)s, now about %(now)s (limit %(limit)s).")
        if plan.needs_technician
        else _(
            "Clean %(clean)s, now about %(now)s, limit %(limit)s: %(share)s %% of the way. Due by %(day)s."
        )
    )
    return said % {
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
