"""May this medium go into this slot: one question, one answer, one sentence saying why."""

from dataclasses import dataclass, field
from functools import partial

import numpy as np

from equipment.airside.air import face_velocity, nominal_area
from equipment.airside.fan import BlowerTableError, NoCrossing, Resistance, operating_airflow, with_the_square
from equipment.airside.limit import AIRFLOW_FLOOR_HIGH_VELOCITY, AIRFLOW_FLOOR_OTHERS, budget_left
from equipment.airside.media import LabelCurve
from equipment.bounds import METER_ERROR, USUAL_CAPACITY_TONS, USUAL_STATIC_INWC
from equipment.verdict_words import Words
from shared.units import METRE_PER_INCH, MS_PER_FPM, PA_PER_INWC, W_PER_TON

Size = tuple[float, float, float]
Face = tuple[float, float]

CARE_LOSS_PERCENT = 5.0
CARE_VELOCITY_MS = 300 * MS_PER_FPM
# A frame this much smaller than the opening lets air pass beside it; labels are up to half an inch under
# nominal, so that without the opening's own measure three quarters are wanted before anybody is sure.
GAP_IN_OPENING_M = 0.5 * METRE_PER_INCH
GAP_IN_NOMINAL_M = 0.75 * METRE_PER_INCH

UNUSUAL_STATIC_PA = USUAL_STATIC_INWC * PA_PER_INWC
UNUSUAL_CAPACITY_W = USUAL_CAPACITY_TONS * W_PER_TON

# What a technician reads at the ducts; budgets and ratings come from papers.
_MEASURED = ("return static", "supply static")

# Figures typed in other units must not cross a limit by the last bit of their conversion.
_SLACK = 1e-9
_SIDE_M = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A slot, a medium and what is known of the system; None is unknown. All in SI.

    Sizes are nominal (short side, long side, depth) in m. The curve is None for a medium without label
    points; the blower table holds pairs of airflow in m3/s and external static in Pa. The statics in Pa
    are those at the design airflow, the return's without the filter; the airflow in m3/s is the one
    through this slot. ``floor_m3s`` is the least airflow by the unit's own papers, for this slot;
    ``opening`` and ``medium_face`` the measured sides of grille and frame, ``measured_m3s`` the airflow last
    measured through the slot, ``far_statics`` that the statics were read far from design airflow and stand
    as read. ``papers_m3s`` is the design airflow that a loss is told against where the one asked at is that
    measured. ``notes`` are assumptions that the asker made and ``guesses`` those that nobody should build on
    unseen; ``why`` says both. Raises ValueError for an airflow, capacity or side that is not above 0.
    """

    slot_size: Size
    medium_size: Size | None
    curve: LabelCurve | None = field(default=None, compare=False)
    high_velocity: bool = False
    fixed_speed: bool = False
    capacity_w: float | None = None
    design_airflow_m3s: float | None = None
    return_budget_pa: float | None = None
    return_static_pa: float | None = None
    rated_external_static_pa: float | None = None
    supply_static_pa: float | None = None
    blower_table: tuple[tuple[float, float], ...] = ()
    floor_m3s: float | None = None
    opening: Face | None = None
    medium_face: Face | None = None
    measured_m3s: float | None = None
    far_statics: bool = False
    papers_m3s: float | None = None
    notes: tuple[str, ...] = ()
    guesses: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        above_nought = (*self.slot_size, *(self.medium_size or ()), self.capacity_w, self.design_airflow_m3s)
        if any(value is not None and not value > 0 for value in above_nought):
            raise ValueError("sizes, capacity and airflow must be above 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """`verdict` is fits, fits_with_care, ask or refuse; a figure that cannot be told is None. All in SI.

    ``face_velocity_ms`` is that at the design airflow, ``velocity_there_ms`` at ``airflow_m3s``. ``guessed``
    says that the verdict leans on what nobody measured or recorded, ``low_airflow`` that too little air moves
    here whatever the medium, ``ducts_over`` that ducts and coil alone are over the budget, so that no medium
    would do, ``gap`` that the frame itself does not suit the opening, ``as_measured`` that the airflow is the
    one measured.
    """

    face_velocity_ms: float | None
    clean_drop_pa: float | None
    airflow_m3s: float | None
    airflow_loss_percent: float | None
    drop_left_pa: float | None
    verdict: str
    why: str
    wrong_size: bool = False
    velocity_there_ms: float | None = None
    guessed: bool = False
    low_airflow: bool = False
    ducts_over: bool = False
    gap: bool = False
    as_measured: bool = False


@dataclass(slots=True)
class _Findings:
    """What the rule has come to so far, and the words it is said in."""

    words: Words
    wrong_size: bool = False
    guessed: bool = False
    low_airflow: bool = False
    ducts_over: bool = False
    gap: bool = False
    as_measured: bool = False
    design_m3s: float | None = None
    floor_m3s: float | None = None
    velocity_ms: float | None = None
    airflow_m3s: float | None = None
    clean_pa: float | None = None
    loss_percent: float | None = None
    left_pa: float | None = None
    overcome_below_m3s: float | None = None
    no_airflow: str = ""
    assumed: tuple[str, ...] = ()


def judge(question: Question, units: str = "ip") -> Answer:
    """Whether the medium may go into the slot; refuse goes before ask, ask before fits_with_care.

    ``why`` speaks in ``units``, "ip" or "si".

    The rule is our own; the floors are those of California Title 24, the velocity and loss limits the
    desk's. A medium whose label points lie far from the airflow is judged all the same, and `why` says so.
    """
    found = _Findings(Words(units))
    found.assumed += (*question.notes, *question.guesses, *_doubts(question, found.words))
    found.guessed, found.as_measured = bool(question.guesses), question.papers_m3s is not None
    _find_airflows(question, found)
    _find_drops(question, found)
    found.low_airflow = _too_little(question, found)
    for verdict, reasons in (
        ("refuse", _refusals(question, found)),
        ("ask", _questions(question, found)),
        ("fits_with_care", _cares(question, found)),
    ):
        if reasons:
            return _answer(found, verdict, "; ".join(reasons))
    return _answer(found, "fits", _fit(question, found))


def _too_little(question: Question, found: _Findings) -> bool:
    """Whether the airflow measured, or without any medium the one designed, is below the floor."""
    airflow = found.design_m3s if question.measured_m3s is None else question.measured_m3s
    floor = found.floor_m3s
    return airflow is not None and floor is not None and airflow < floor * (1 - METER_ERROR)


def _doubts(question: Question, words: Words) -> tuple[str, ...]:
    """Figures that are likelier of another unit, and a label that cannot be: taken, and doubted aloud."""
    statics = {
        "return budget": question.return_budget_pa,
        "return static": question.return_static_pa,
        "rated external static": question.rated_external_static_pa,
        "supply static": question.supply_static_pa,
    }
    far = question.far_statics
    doubts = [
        f"{name} of {words.pressure(value)} is unusually large: was it read in another unit?"
        for name, value in statics.items()
        if value is not None and value > UNUSUAL_STATIC_PA and not (far and name in _MEASURED)
    ]
    if question.capacity_w is not None and question.capacity_w > UNUSUAL_CAPACITY_W:
        doubts.append("the capacity is unusually large: tons or kW?")
    curve = question.curve
    if curve is not None and bool(np.any(np.diff(curve.drop_pa) <= 0)):
        doubts.append("the label's drop does not rise with airflow: check it")
    return tuple(doubts)


def _answer(found: _Findings, verdict: str, why: str) -> Answer:
    assumed = f" ({', '.join(found.assumed)})" if found.assumed else ""
    return Answer(
        face_velocity_ms=found.velocity_ms,
        clean_drop_pa=found.clean_pa,
        airflow_m3s=found.airflow_m3s,
        airflow_loss_percent=found.loss_percent,
        drop_left_pa=found.left_pa,
        verdict=verdict,
        why=why + assumed,
        wrong_size=found.wrong_size,
        velocity_there_ms=_velocity_there(found),
        guessed=found.guessed,
        low_airflow=found.low_airflow,
        ducts_over=found.ducts_over,
        gap=found.gap,
        as_measured=found.as_measured,
    )


def _velocity_there(found: _Findings) -> float | None:
    velocity, airflow, design = found.velocity_ms, found.airflow_m3s, found.design_m3s
    return None if velocity is None or airflow is None or not design else velocity * airflow / design


def _find_airflows(question: Question, found: _Findings) -> None:
    published = question.capacity_w * _floor(question) if question.capacity_w is not None else None
    found.floor_m3s = published if question.floor_m3s is None else question.floor_m3s
    found.design_m3s = question.design_airflow_m3s
    if found.design_m3s is None and published is not None:
        found.design_m3s = published
        found.assumed += (f"design airflow assumed {found.words.rate(_floor(question))}",)
    if found.design_m3s is None:
        found.no_airflow = "neither design airflow nor capacity is known"
        return
    short, long, _ = question.slot_size
    found.velocity_ms = float(face_velocity(found.design_m3s, nominal_area(short, long)))
    found.airflow_m3s = found.design_m3s
    if question.fixed_speed and question.blower_table:
        found.airflow_m3s = _operating(question, found, found.design_m3s)
    elif question.fixed_speed:
        found.airflow_m3s = None
        found.no_airflow = "no blower table is given, so the airflow of this fixed-speed blower is not known"
    if found.airflow_m3s is not None:
        found.loss_percent = 100 * (1 - found.airflow_m3s / (question.papers_m3s or found.design_m3s))


def _operating(question: Question, found: _Findings, design_m3s: float) -> float | None:
    if question.curve is None:
        return None
    parts: dict[str, Resistance] = {
        "return": with_the_square(question.return_static_pa or 0.0, design_m3s),
        "filter": partial(_clean, question.curve),
        "supply": with_the_square(question.supply_static_pa or 0.0, design_m3s),
    }
    try:
        return operating_airflow(question.blower_table, parts)
    except BlowerTableError as error:
        found.no_airflow = str(error)
        if isinstance(error, NoCrossing) and error.side == "below":
            found.overcome_below_m3s = error.end_m3s
        return None


def _find_drops(question: Question, found: _Findings) -> None:
    unknown = _unknown_statics(question)
    found.assumed += unknown
    found.guessed = found.guessed or bool(unknown)
    if question.curve is None or found.airflow_m3s is None:
        return
    found.clean_pa = _clean(question.curve, found.airflow_m3s)
    if bool(question.curve.extrapolates(np.array(found.airflow_m3s))):
        found.assumed += ("clean drop carried beyond the label's points",)
    budget = _budget(question)
    if budget is not None:
        found.left_pa = budget - found.clean_pa


def _unknown_statics(question: Question) -> tuple[str, ...]:
    """The statics that count as 0 though nobody knows them, where they enter the answer at all."""
    meets_blower = question.fixed_speed and bool(question.blower_table)
    rated = question.rated_external_static_pa is not None
    return_counts = meets_blower or rated or question.return_budget_pa is not None
    unknown = []
    if question.return_static_pa is None and return_counts:
        unknown.append("return")
    if question.supply_static_pa is None and (meets_blower or rated):
        unknown.append("supply")
    return (f"{' and '.join(unknown)} static assumed 0",) if unknown else ()


def _budget(question: Question) -> float | None:
    """What the budgets that are known leave for the filter, in Pa."""
    figures = (
        question.return_budget_pa,
        question.return_static_pa,
        question.rated_external_static_pa,
        question.supply_static_pa,
    )
    left = float(budget_left(*(np.array(np.nan if pa is None else pa) for pa in figures)))
    return None if np.isnan(left) else left


def _clean(curve: LabelCurve, airflow_m3s: float) -> float:
    return float(curve.clean_drop(np.array(airflow_m3s))) if airflow_m3s > 0 else 0.0


def _refusals(question: Question, found: _Findings) -> list[str]:
    reasons, words = _size_reasons(question, found.words), found.words
    found.wrong_size = bool(reasons)
    found.gap = found.wrong_size and not _other_size(question, found.words)
    clean, left = found.clean_pa, found.left_pa
    if clean is not None and left is not None and left < -_slack(clean):
        more, budget = words.pressure(-left), left + clean
        if budget < 0:
            found.ducts_over = True
            reasons.append(f"ducts and coil alone are {words.pressure(-budget)} over the budget")
        else:
            reasons.append(f"its clean drop of {words.pressure(clean)} is {more} more than the budget leaves")
    airflow, floor = found.airflow_m3s, found.floor_m3s
    if airflow is not None and floor is not None and airflow < floor - _slack(floor):
        reasons.append(f"airflow of {words.airflow(airflow)} is below {_said_floor(question, found)}")
    overcome = found.overcome_below_m3s
    if overcome is not None and floor is not None and overcome <= floor + _slack(floor):
        least = _said_floor(question, found)
        reasons.append(f"airflow is below {words.airflow(overcome)} and {least}: {found.no_airflow}")
    return reasons


def _said_floor(question: Question, found: _Findings) -> str:
    rule = "by the unit's papers" if question.floor_m3s is not None else found.words.rate(_floor(question))
    return f"the floor of {found.words.airflow(found.floor_m3s or 0.0)}, {rule}"


def _size_reasons(question: Question, words: Words) -> list[str]:
    if question.medium_size is None:
        return []
    return _other_size(question, words) or _gap_reasons(question, words)


def _other_size(question: Question, words: Words) -> list[str]:
    if question.medium_size is None:
        return []
    slot, medium = _ordered(question.slot_size), _ordered(question.medium_size)
    reasons = []
    if any(abs(one - other) > _SIDE_M for one, other in zip(slot[:2], medium[:2], strict=True)):
        reasons.append(f"size differs: {words.size(medium[:2])} against the slot's {words.size(slot[:2])}")
    if abs(slot[2] - medium[2]) > _SIDE_M:
        reasons.append(f"depth differs: {words.depth(medium[2])} against the slot's {words.depth(slot[2])}")
    return reasons


def _gap_reasons(question: Question, words: Words) -> list[str]:
    """Of a frame as measured: one that does not go in, or lets air pass beside it."""
    if question.medium_face is None:
        return []
    frame = sorted(question.medium_face)
    measured = question.opening is not None
    opening = sorted(question.opening or question.slot_size[:2])
    gaps = [have - wants for have, wants in zip(opening, frame, strict=True)]
    there = f"{words.size(tuple(frame))} in an opening of {words.size(tuple(opening))}"
    if measured and min(gaps) < -_SIDE_M:
        return [f"its frame does not go in: {there}"]
    if max(gaps) > (GAP_IN_OPENING_M if measured else GAP_IN_NOMINAL_M) + _SIDE_M:
        return [f"bypass gap of {words.depth(max(gaps))}, air would pass beside it: {there}"]
    return []


def _questions(question: Question, found: _Findings) -> list[str]:
    reasons = []
    if question.medium_size is None:
        reasons.append("the medium is not known")
    elif question.curve is None:
        reasons.append("the medium has no label points")
    if found.no_airflow:
        reasons.append(found.no_airflow)
    if question.measured_m3s is not None and found.low_airflow:
        said = found.words.airflow(question.measured_m3s)
        reasons.append(
            f"measured airflow of {said} is below {_said_floor(question, found)}: find out why first"
        )
    if question.far_statics:
        reasons.append("return and supply static were read far from design airflow: measure nearer to it")
    if _budget(question) is None:
        reasons.append("neither return budget nor rated external static is known")
    return reasons


def _cares(question: Question, found: _Findings) -> list[str]:
    reasons = []
    clean, left, loss = found.clean_pa, found.left_pa, found.loss_percent
    words = found.words
    if clean is not None and left is not None and left < clean - _slack(clean):
        drop = words.pressure(clean)
        room = f"only {words.pressure(left)} of the budget is left"
        reasons.append(f"{room}, less than the clean drop of {drop}")
    if loss is not None and loss > CARE_LOSS_PERCENT + _SLACK:
        reasons.append(f"airflow falls {loss:.1f} % short of design, over {CARE_LOSS_PERCENT:g} %")
    if found.velocity_ms is not None and found.velocity_ms > CARE_VELOCITY_MS * (1 + _SLACK):
        reasons.append(
            f"face velocity of {words.velocity(found.velocity_ms)} {_where(question)} is over "
            f"{words.velocity(CARE_VELOCITY_MS)}"
        )
    return reasons


def _where(question: Question) -> str:
    return "at the airflow measured" if question.papers_m3s else "at design airflow"


def _fit(question: Question, found: _Findings) -> str:
    words = found.words
    return (
        f"clean drop of {words.pressure(found.clean_pa or 0.0)} at {words.airflow(found.airflow_m3s or 0.0)} "
        f"leaves {words.pressure(found.left_pa or 0.0)} of the budget for dust; face velocity is "
        f"{words.velocity(found.velocity_ms or 0.0)} {_where(question)}"
    )


def _floor(question: Question) -> float:
    """The least airflow in m3/s for each W of capacity."""
    return AIRFLOW_FLOOR_HIGH_VELOCITY if question.high_velocity else AIRFLOW_FLOOR_OTHERS


def _slack(figure: float) -> float:
    return _SLACK * (1 + abs(figure))


def _ordered(size: Size) -> Size:
    """Height and width are interchangeable at the grille, depth is not."""
    return min(size[:2]), max(size[:2]), size[2]
