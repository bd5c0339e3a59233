"""What a system's record says of its air side: airflow against its floor, statics against their budgets, the
return path against its rule. Every figure with where it comes from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from equipment.airflow import design_airflow, published_floor
from equipment.airside.air import standard_pressure
from equipment.airside.duct import flexible_correction
from equipment.airside.path import Duct, Grille, air_at
from equipment.airside.return_path import Shortfall, Wanted, shortfalls, wanted
from equipment.bounds import METER_ERROR, far_from_design
from equipment.models import AirRecord, FilterSlot, System
from shared.units import MS_PER_FPM

# California Title 24 150.0(m)12 asks of filters an inch deep a face of the airflow over 150 fpm.
THIN_FACE_MS = 150 * MS_PER_FPM
# A measured static so near to the blower's table counts as on it. Own choice.
TABLE_ERROR = 0.25
_THIN_M = 0.0305


@dataclass(frozen=True, slots=True)
class Figure:
    """A value in SI, None where it is not known; ``basis`` is measured (``at`` that moment), given (on the
    record, no measurement beside it), reckoned (by ``rule``), assumed or unknown. ``read_at_m3s`` is the
    airflow at which a static was read that counts at another, ``far`` that it was too far off to carry."""

    value: float | None
    basis: str
    rule: str = ""
    at: datetime | None = None
    read_at_m3s: float | None = None
    far: bool = False


@dataclass(frozen=True, slots=True)
class Budget:
    """A budget in Pa, what ducts and coil take of it at design airflow, and what that leaves the filter."""

    name: str
    whole: float
    taken: float
    left: float


@dataclass(frozen=True, slots=True)
class ReturnPath:
    """What the tables ask, what falls short of it, and why nothing was judged where nothing was."""

    want: Wanted | None
    narrow: list[Shortfall]
    not_judged: str
    grille_m2: float
    thin_face_m2: float | None


@dataclass(frozen=True, slots=True)
class AirSide:
    """The whole of it; airflow in m3/s, statics in Pa. ``friction_pa`` is what return ducts and grilles would
    take by their measures, None where these are not known: shown beside, never counted. ``off_table`` is a
    measured static and the blower table's, where they are apart."""

    design: Figure
    measured: Figure
    floor: Figure
    return_static: Figure
    supply_static: Figure
    filter_drop: Figure
    external_pa: float | None
    budgets: list[Budget]
    path: ReturnPath
    friction_pa: float | None
    latest: AirRecord | None
    off_table: tuple[float, float] | None

    @property
    def below_floor(self) -> bool:
        """Whether the airflow, measured or else designed, lies below the floor."""
        flow, least = self.measured.value or self.design.value, self.floor.value
        return flow is not None and least is not None and flow < least * (1 - METER_ERROR)

    @property
    def tightest(self) -> Budget | None:
        """The budget that leaves least."""
        return min(self.budgets, key=lambda one: one.left, default=None)


def air_side(system: System, slots: Sequence[FilterSlot]) -> AirSide:
    """The air side of a system with its slots in use; two queries, for the record's measurements."""
    records = list(system.air_records.all()[:50])
    floor = _floor(system)
    design = _design(system)
    back = _static("return_static_pa", system, records)
    supply = _static("supply_static_pa", system, records)
    drop = _newest("filter_drop_pa", records)
    parts = (back.value, supply.value, drop.value)
    return AirSide(
        design=design,
        measured=_newest("airflow_m3s", records),
        floor=floor,
        return_static=back,
        supply_static=supply,
        filter_drop=drop,
        external_pa=None if None in parts else sum(one for one in parts if one is not None),
        budgets=budgets(system),
        path=_path(system, slots, design.value),
        friction_pa=return_loss(
            system.return_ducts, _face(slots), design.value, system.site.altitude_m or 0.0
        ),
        latest=records[0] if records else None,
        off_table=_off_table(system, records),
    )


def table_at_home(system: System) -> list[list[float]]:
    """The blower's table at the home's altitude: at the same airflow in m3/s the static in Pa goes with the
    air's density, here with the standard atmosphere's pressure, indoors being as warm everywhere.

    Label drops and measured statics stay as they are: the ones are laboratory's, the others read on the spot.
    """
    altitude = system.site.altitude_m or 0.0
    ratio = float(standard_pressure(altitude) / standard_pressure(0.0))
    return [[flow, static * ratio] for flow, static in system.blower_table]


def _floor(system: System) -> Figure:
    if system.airflow_floor_m3s is not None:
        return Figure(system.airflow_floor_m3s, "given", "papers")
    floor = published_floor(system)
    return Figure(floor, "unknown" if floor is None else "reckoned", _floor_rule(system))


def _floor_rule(system: System) -> str:
    return "floor_high_velocity" if system.kind == System.Kind.HIGH_VELOCITY else "floor_others"


def _design(system: System) -> Figure:
    flow, note = design_airflow(system)
    if not note:
        return Figure(flow, "given")
    return Figure(flow, "unknown" if flow is None else "assumed", _floor_rule(system))


def _newest(field: str, records: Sequence[AirRecord]) -> Figure:
    record = _newest_with(field, records)
    if record is None:
        return Figure(None, "unknown")
    how = record.airflow_method if field == "airflow_m3s" else ""
    return Figure(getattr(record, field), "measured", how, record.measured_at)


def _newest_with(field: str, records: Sequence[AirRecord]) -> AirRecord | None:
    return next((record for record in records if getattr(record, field) is not None), None)


def _static(field: str, system: System, records: Sequence[AirRecord]) -> Figure:
    """The system's own figure, at design airflow, with the day of the measurement that it came from."""
    value: float | None = getattr(system, field)
    if value is None:
        return Figure(None, "assumed")
    read = _newest_with(field, records)
    if read is None:
        return Figure(value, "given")
    if far_from_design(read.airflow_m3s, design_airflow(system)[0]):
        return Figure(value, "measured", at=read.measured_at, read_at_m3s=read.airflow_m3s, far=True)
    carried = read.airflow_m3s if _differs(value, getattr(read, field)) else None
    return Figure(value, "measured", at=read.measured_at, read_at_m3s=carried)


def _differs(one: float, other: float) -> bool:
    """Whether two statics in Pa are not one and the same reading."""
    return abs(one - other) > 0.02 * max(one, other)


def _off_table(system: System, records: Sequence[AirRecord]) -> tuple[float, float] | None:
    """Static as measured in all and as the blower's table gives it at the airflow measured, in Pa, of the
    newest record that holds both, where they differ by more than TABLE_ERROR; None where they agree."""
    for record in records:
        parts = (record.return_static_pa, record.supply_static_pa, record.filter_drop_pa)
        if record.airflow_m3s is None or None in parts or len(system.blower_table) < 2:
            continue
        flows, statics = (list(column) for column in zip(*sorted(table_at_home(system)), strict=True))
        if not flows[0] <= record.airflow_m3s <= flows[-1]:
            return None
        told = float(np.interp(record.airflow_m3s, flows, statics))
        measured = sum(part for part in parts if part is not None)
        return (measured, told) if abs(measured - told) > TABLE_ERROR * max(told, measured) else None
    return None


def budgets(system: System) -> list[Budget]:
    """The budgets on record, each with what ducts and coil take of it."""
    back, supply = system.return_static_pa or 0.0, system.supply_static_pa or 0.0
    found = []
    if system.return_budget_pa is not None:
        whole = system.return_budget_pa
        found.append(Budget("return", whole, back, whole - back))
    if system.rated_external_static_pa is not None:
        whole = system.rated_external_static_pa
        found.append(Budget("rated", whole, back + supply, whole - back - supply))
    return found


def _face(slots: Sequence[FilterSlot]) -> float:
    return sum(slot.area_m2 for slot in slots)


def _path(system: System, slots: Sequence[FilterSlot], design_m3s: float | None) -> ReturnPath:
    grille = _face(slots)
    thin = design_m3s / THIN_FACE_MS if design_m3s and any(slot.depth_m < _THIN_M for slot in slots) else None
    diameters = [duct["diameter_m"] for duct in system.return_ducts]
    returns = len(diameters) or len(slots)
    want, why = None, ""
    if system.kind == System.Kind.HIGH_VELOCITY:
        why = "high_velocity"
    elif system.capacity_w is None:
        why = "capacity"
    elif returns:
        want = wanted(system.capacity_w, returns)
        why = "" if want else "beyond"
    narrow = shortfalls(want, diameters, grille) if want else []
    return ReturnPath(want, narrow, why, grille, thin)


def return_loss(
    ducts: Sequence[dict[str, float]], grille_m2: float, airflow_m3s: float | None, altitude_m: float = 0.0
) -> float | None:
    """What return ducts side by side and their grilles would take in Pa at an airflow in m3/s through all;
    None where a length is not known.

    By the parts' measures, dry air of 20 degrees C at the altitude, the grille as equipment.airside.path
    assumes it; bends and boots come on top. The air parts as the diameter's power of 2.5 over the root of
    the length, so that all lose nearly the same; the largest is given.
    """
    if not ducts or not airflow_m3s or any(not duct.get("length_m") for duct in ducts):
        return None
    parts = [_duct(duct) for duct in ducts]
    ease = np.array([part.diameter_m**2.5 / _resisting(part) ** 0.5 for part in parts])
    air = air_at(altitude_m)
    flows = airflow_m3s * ease / ease.sum()
    lost = max(float(part.loss_pa(flow, air)) for part, flow in zip(parts, flows, strict=True))
    side = grille_m2**0.5
    return lost + (float(Grille(side, side).loss_pa(airflow_m3s, air)) if grille_m2 else 0.0)


def _duct(duct: dict[str, float]) -> Duct:
    flexible = bool(duct.get("flexible"))
    slack = (duct.get("compression") or 0.0) if flexible else 0.0
    return Duct(duct["diameter_m"], duct["length_m"], flexible, slack)


def _resisting(duct: Duct) -> float:
    """The length of stretched sheet metal duct that it is as good as, roughly."""
    times = float(flexible_correction(duct.diameter_m, duct.compression)) if duct.compression else 1.0
    return duct.length_m * times
