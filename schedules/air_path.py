"""Where a slot's blower works with its filter clean, as it is now and at its limit: a drawing and a table."""

from dataclasses import dataclass

import numpy as np
from django.utils import formats
from django.utils.translation import gettext as _

from equipment.air_side import table_at_home
from equipment.airflow import design_airflow, published_floor
from equipment.airside.media import LabelCurve
from equipment.airside.operating import Paths, Points, Tables, constant_airflow, electric_power, fixed_speed
from equipment.models import Desk, FilterSlot, System
from schedules.models import Plan
from shared import clock
from shared.charts import AirPath, Mark, air_path
from shared.units import AIRFLOW, PRESSURE, from_si, label, show

# Of blower and motor together: own assumption, between the least that Title 24's limits allow and good ones.
EFFICIENCY = 0.3
# An airflow within so much of the one held is held: a limit set by the rated static lies right at its end.
_SLACK = 0.005
# Airflows further apart than this are said to be two. Own choice.
TOLD_APART = 0.05


@dataclass(frozen=True)
class Loads:
    """The filter's loads that are looked at and their names."""

    names: tuple[str, ...]
    times_clean: np.ndarray


@dataclass(frozen=True)
class PathShown:
    """The drawing as SVG text, and a row a load: name, airflow, filter drop, its share of the limit, external
    static, power."""

    drawing: str
    rows: list[tuple[str, ...]]
    note: str


def paths_of(curve: LabelCurve, design_m3s: float, statics_pa: float, times_clean: np.ndarray) -> Paths:
    """One path a load; the filter's exponent is that of its label about the design airflow."""
    one = np.ones(len(times_clean))
    clean = float(curve.clean_drop(np.array([design_m3s]))[0])
    near = float(curve.clean_drop(np.array([design_m3s * 1.01]))[0])
    exponent = np.log(near / clean) / np.log(1.01)
    return Paths(statics_pa / design_m3s**2 * one, clean * one, design_m3s * one, exponent * one, times_clean)


def tables_of(pairs: list[list[float]], share: float, rows: int) -> Tables:
    """The blower's table at the slot's share of the air, once a row."""
    flows, statics = (np.array(column) for column in zip(*sorted(pairs), strict=True))
    return Tables(np.tile(flows * share, (rows, 1)), np.tile(statics, (rows, 1)))


@dataclass(frozen=True)
class Met:
    """Where a blower meets its path, a point a load; ``blower`` its line as airflow in m3/s and static in Pa,
    all of this slot's share."""

    paths: Paths
    points: Points
    blower: list[tuple[float, float]]


def meet(
    system: System,
    curve: LabelCurve,
    share: float,
    times_clean: np.ndarray,
    moved_m3s: float | None = None,
) -> Met | None:
    """The slot's operating points at loads of so many times clean; None where the airflow or a fixed-speed
    blower's table is not known.

    A constant-airflow blower holds design airflow, or the ``moved_m3s`` that were measured, up to its rated
    external static and gives way beyond. A table that a measured airflow contradicts tells nothing.
    """
    whole, _from = design_airflow(system)
    fixed = system.blower == System.Blower.FIXED_SPEED
    if not whole or (fixed and (len(system.blower_table) < 2 or moved_m3s)):
        return None
    design = whole * share
    statics = (system.return_static_pa or 0.0) + (system.supply_static_pa or 0.0)
    paths = paths_of(curve, design, statics, times_clean)
    if fixed:
        tables = tables_of(table_at_home(system), share, len(times_clean))
        line = list(zip(tables.airflow_m3s[0], tables.static_pa[0], strict=True))
        return Met(paths, fixed_speed(tables, paths), line)
    if moved_m3s:
        design, statics = moved_m3s * share, statics * (moved_m3s / whole) ** 2
        paths = paths_of(curve, design, statics, times_clean)
    ceiling = system.rated_external_static_pa or np.inf
    same = np.ones(len(times_clean))
    points = constant_airflow(design * same, paths, ceiling * same)
    top = ceiling if np.isfinite(ceiling) else 1.2 * float(np.nanmax(points.static_pa))
    return Met(paths, points, [(design, 0.0), (design, top)])


def shown_path(
    slot: FilterSlot, plan: Plan | None, curve: LabelCurve | None, share: float, units: str
) -> PathShown | None:
    """The slot's path; None where airflow, label, limit or a fixed-speed blower's table is not known."""
    if plan is None or curve is None or not plan.clean_drop_pa or not plan.limit_drop_pa:
        return None
    times = [1.0, (plan.drop_now_pa or 0.0) / plan.clean_drop_pa, plan.limit_drop_pa / plan.clean_drop_pa]
    loads = Loads((_("clean"), _("now"), _("limit")), np.maximum(times, 1.0))
    system = slot.system
    met = meet(system, curve, share, loads.times_clean)
    if met is None:
        return None
    fixed = system.blower == System.Blower.FIXED_SPEED
    floor = system.airflow_floor_m3s or published_floor(system)
    return PathShown(
        _drawing(met, loads, floor * share if floor else None, units),
        _rows(met, loads, fixed, units),
        " ".join(
            said
            for said in (
                _note(system, fixed), _gives_way(system, met, fixed),
                _beside(system, met.points.airflow_m3s[1] / share, units),
            )
            if said
        ),
    )  # fmt: skip


def _drawing(met: Met, loads: Loads, floor_m3s: float | None, units: str) -> str:
    blower, paths, points = met.blower, met.paths, met.points
    flow_unit, static_unit = AIRFLOW.shown(units)[0], PRESSURE.shown(units)[0]

    def pair(flow: float, static: float) -> tuple[float, float]:
        return from_si(float(flow), flow_unit, AIRFLOW), from_si(float(static), static_unit, PRESSURE)

    flows = np.linspace(0.0, 1.2 * max(flow for flow, _static in blower), 40)
    statics = np.array([paths.static(np.full(len(loads.names), flow)) for flow in flows])
    curves = [
        (name, [pair(flow, static) for flow, static in zip(flows, statics[:, row], strict=True)])
        for row, name in enumerate(loads.names)
    ]
    meetings = [
        pair(flow, static)
        for flow, static in zip(points.airflow_m3s, points.static_pa, strict=True)
        if np.isfinite(flow)
    ]
    drawn = AirPath(
        [pair(*one) for one in blower],
        curves,
        meetings,
        (label(AIRFLOW, units), label(PRESSURE, units)),
        Mark(pair(floor_m3s, 0.0)[0], _("least")) if floor_m3s else None,
    )
    told = ", ".join(
        f"{name} {show(float(flow), AIRFLOW, units)}"
        for name, flow in zip(loads.names, points.airflow_m3s, strict=True)
        if np.isfinite(flow)
    )
    return air_path(_("Blower and air path"), _("Airflow where they meet: %(told)s.") % {"told": told}, drawn)


def _rows(met: Met, loads: Loads, fixed: bool, units: str) -> list[tuple[str, ...]]:
    paths, points = met.paths, met.points
    # A fixed-speed motor draws less as its air falls, by a curve of its own that nobody has here.
    power = np.full(len(loads.names), np.nan) if fixed else electric_power(points, EFFICIENCY)
    drops = paths.filter_drop(points.airflow_m3s)
    # Of the limit: how loaded it is, whatever the airflow; the drop itself gives way with it.
    shares = loads.times_clean / loads.times_clean[-1]
    return [
        (
            name,
            show(_known(points.airflow_m3s[row]), AIRFLOW, units),
            show(_known(drops[row]), PRESSURE, units),
            f"{100 * shares[row]:.0f} %",
            show(_known(points.static_pa[row]), PRESSURE, units),
            f"{power[row]:.0f} W" if np.isfinite(power[row]) else "–",
        )
        for row, name in enumerate(loads.names)
    ]


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _gives_way(system: System, met: Met, fixed: bool) -> str:
    """That a constant-airflow blower is past its rated static at some load, where it is."""
    held, flows = met.blower[0][0], met.points.airflow_m3s
    if fixed or bool(np.all(flows >= held * (1 - _SLACK))):
        return ""
    return _(
        "A blower of constant airflow holds it up to its rated external static; beyond, here, it gives way."
    )


def _beside(system: System, reckoned_m3s: float, units: str) -> str:
    """What was measured through the whole system, where the table's airflow is another."""
    newest = system.air_records.filter(airflow_m3s__isnull=False).order_by("-measured_at").first()
    measured = newest.airflow_m3s if newest else None
    if newest is None or measured is None or abs(measured - reckoned_m3s) <= TOLD_APART * reckoned_m3s:
        return ""
    said = _(
        "Reckoned from design airflow, statics and table; %(flow)s were measured through the whole system "
        "on %(day)s. Where the two part, tap, table, statics or reading is another's."
    )
    day = clock.local_day(newest.measured_at, system.site.zone(Desk.the().timezone))
    return said % {"flow": show(measured, AIRFLOW, units), "day": formats.date_format(day, "j F Y")}


def _note(system: System, fixed: bool) -> str:
    unknown = [
        word
        for word, value in (
            (_("return"), system.return_static_pa), (_("supply"), system.supply_static_pa),
        )
        if value is None
    ]  # fmt: skip
    held = _("Through this filter alone; power at %(share)d %% for blower and motor together, assumed.")
    falls = _(
        "Through this filter alone. A fixed-speed motor draws less as its air falls; how much is not known."
    )
    said = falls if fixed else held % {"share": round(100 * EFFICIENCY)}
    if unknown:
        missing = _(" and ").join(unknown)
        said += " " + _("Static of %(parts)s not measured: taken as nought.") % {"parts": missing}
    return said
