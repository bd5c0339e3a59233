"""The verdict's question as a slot's record asks it, and its answer at the airflow as measured."""

from dataclasses import dataclass, replace

import numpy as np

from equipment.air_side import table_at_home
from equipment.airflow import design_airflow
from equipment.airside.media import LabelCurve
from equipment.bounds import far_from_design
from equipment.curves import Medium, media_with_curves
from equipment.fitted import media_about
from equipment.models import FilterSlot, System
from equipment.verdict import Answer, Question, judge

ORDER = ("fits", "fits_with_care", "ask", "refuse")
OFF_TABLE = "more air was measured than the blower's table gives: tap, table or reading is another's"
# So much beside what was reckoned, and the measured airflow is judged by too. Own choice.
APART = 1.05


@dataclass(frozen=True)
class SlotAir:
    """What a slot's system tells of it beyond its own row: the slot's ``share`` of the air, by nominal area
    among the slots in use, the whole system's airflow as last measured in m3/s, whether its statics were
    read far from design airflow, and the labels of the filters that may have been in there when the
    airflow was measured, None for one without."""

    share: float
    measured_m3s: float | None
    far_statics: bool
    fitted: tuple[LabelCurve | None, ...] = ()


def slot_air(slot: FilterSlot) -> SlotAir:
    """A few queries."""
    areas = [one.area_m2 for one in FilterSlot.objects.in_use().filter(system=slot.system_id)]
    share = slot.area_m2 / max(sum(areas), slot.area_m2)
    records = list(slot.system.air_records.filter(airflow_m3s__isnull=False).order_by("-measured_at")[:50])
    design, _note = design_airflow(slot.system)
    with_statics = (row for row in records if (row.return_static_pa, row.supply_static_pa) != (None, None))
    read_at = next((row.airflow_m3s for row in with_statics), None)
    if not records:
        return SlotAir(share, None, far_statics=False)
    media = media_about(slot, records[0].measured_at)
    known = media_with_curves(one.pk for one in media if one is not None)
    curves = tuple(known[one.pk].curve if one is not None else None for one in media)
    return SlotAir(share, records[0].airflow_m3s, far_from_design(read_at, design), curves)


def judged(slot: FilterSlot, medium: Medium, air: SlotAir, units: str = "ip") -> Answer:
    """The verdict by the record; where another airflow was measured than reckoned, the stricter of it and the
    one at the airflow measured. A reading that a blower's table cannot give is asked about."""
    asked = question_for(slot, medium, air)
    answer = judge(asked, units)
    tabled = asked.fixed_speed and bool(asked.blower_table)
    measured = air.measured_m3s
    if asked.fixed_speed and measured and None not in air.fitted and not _no_stronger(medium, air, measured):
        # It was a looser filter that so much air passed: it says nothing of this one.
        return answer
    there = _as_measured(asked, answer)
    if there is None:
        return answer
    other = judge(there, units)
    if tabled and other.verdict in ORDER[:3]:
        return replace(other, verdict="ask", why=f"{OFF_TABLE}; {other.why}")
    return answer if ORDER.index(other.verdict) < ORDER.index(answer.verdict) else other


def question_for(slot: FilterSlot, medium: Medium, air: SlotAir) -> Question:
    """The verdict's question; of a system with several slots this one's share of airflow and capacity."""
    system, row, share = slot.system, medium.row, air.share
    whole, _note = design_airflow(system)
    table = tuple((flow * share, static) for flow, static in table_at_home(system))
    fixed, measured = system.blower == System.Blower.FIXED_SPEED, air.measured_m3s
    back, supply = system.return_static_pa, system.supply_static_pa
    notes, papers = [], None
    if fixed and not table and measured and _no_stronger(medium, air, measured):
        # Nobody knows how this blower gives way; what it moved when measured is the best to judge by.
        back, supply = (_carried(static, whole, measured) for static in (back, supply))
        fixed, whole, papers = False, measured, whole or measured
        notes.append("airflow as measured, without the blower's table")
    if share < 1:
        notes.append("the system's other filters taken to be like it")
    opening = _pair(slot.opening_short_m, slot.opening_long_m)
    face = _pair(row.actual_short_m, row.actual_long_m)
    if opening and not face:
        notes.append("the frame's own sides are not on record: no gap could be looked for")
    return Question(
        slot_size=(slot.short_m, slot.long_m, slot.depth_m),
        medium_size=(row.short_m, row.long_m, row.depth_m),
        curve=medium.curve,
        high_velocity=system.kind == System.Kind.HIGH_VELOCITY,
        fixed_speed=fixed,
        capacity_w=system.capacity_w * share if system.capacity_w else None,
        design_airflow_m3s=whole * share if whole else None,
        return_budget_pa=system.return_budget_pa,
        return_static_pa=back,
        rated_external_static_pa=system.rated_external_static_pa,
        supply_static_pa=supply,
        blower_table=table,
        floor_m3s=system.airflow_floor_m3s * share if system.airflow_floor_m3s else None,
        measured_m3s=measured * share if measured else None,
        far_statics=air.far_statics,
        papers_m3s=papers * share if papers else None,
        notes=tuple(notes),
        guesses=_guesses(system),
        opening=opening,
        medium_face=face,
    )


def _no_stronger(medium: Medium, air: SlotAir, measured_m3s: float) -> bool:
    """Whether the medium drops no more than the one with which the airflow was measured: only then is that
    airflow its own too."""
    if medium.curve is None or not air.fitted:
        return False
    at = np.array([measured_m3s * air.share])
    drop = medium.curve.clean_drop(at)[0] / (1 + 1e-6)
    return all(one is not None and drop <= one.clean_drop(at)[0] for one in air.fitted)


def _guesses(system: System) -> tuple[str, ...]:
    guesses = []
    if not system.kind:
        guesses.append("kind of system not on record: taken as conventional")
    if not system.blower:
        guesses.append("kind of blower not on record: taken to hold its airflow")
    return tuple(guesses)


def _as_measured(asked: Question, answer: Answer) -> Question | None:
    """The question at the airflow measured, where that is more than the answer goes by; less counts for a
    blower of constant airflow alone: another gives way to whatever dust was in there."""
    measured, designed = asked.measured_m3s, asked.design_airflow_m3s
    overcome = asked.fixed_speed and bool(asked.blower_table) and answer.airflow_m3s is None
    reckoned = (
        min(flow for flow, _static in asked.blower_table) if overcome else answer.airflow_m3s or designed
    )
    if measured is None or reckoned is None or asked.papers_m3s is not None:
        return None
    less = not asked.fixed_speed and measured * APART < reckoned
    if (not less and measured <= APART * reckoned) or (less and answer.low_airflow):
        return None
    beside = "which is less" if less else "which is more"
    return replace(
        asked,
        fixed_speed=False,
        papers_m3s=designed or measured,
        design_airflow_m3s=measured,
        return_static_pa=_carried(asked.return_static_pa, designed, measured),
        supply_static_pa=_carried(asked.supply_static_pa, designed, measured),
        notes=(*asked.notes, f"judged at the airflow measured, {beside} than reckoned"),
    )


def _carried(static_pa: float | None, from_m3s: float | None, to_m3s: float) -> float | None:
    """A static of the design airflow at another by the square, however far; as it is where none is known."""
    return static_pa if static_pa is None or not from_m3s else static_pa * (to_m3s / from_m3s) ** 2


def _pair(one: float | None, other: float | None) -> tuple[float, float] | None:
    return None if one is None or other is None else (one, other)
