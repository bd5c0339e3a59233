"""One slot's rows as lives: each filter's time in the slot, with what was read of it."""

import math
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from equipment.airside.fan import drop_at_held_airflow
from equipment.airside.media import LabelCurve
from equipment.curves import Medium
from equipment.models import FilterSlot, Media, Site, System
from schedules.finding_rows import Finding
from schedules.planning.dust import Spell
from schedules.planning.facts import LifeRows, ReadingRows


@dataclass
class Life:
    """One filter's time in a slot: from ``began`` (local ordinal with its fraction)."""

    began: float
    media: int | None
    known_start: bool
    at_end: bool
    readings: list[tuple[float, float, float | None]] = field(default_factory=list)
    # Beside each reading its drop in Pa at the slot's design airflow, once that is known.
    at_design: list[float] = field(default_factory=list)


@dataclass
class SlotFacts:
    """What one slot's rows say, before it becomes a column of numbers."""

    row: FilterSlot
    lives: list[Life]
    notes: list[str]
    # Whether slot, system or customer has ended by the as-of day.
    ended: bool = False
    airflow_m3s: float = np.nan
    clean_pa: float = np.nan
    limit_pa: float = np.nan
    findings: list[Finding] = field(default_factory=list)
    # Dust since the present filter went in, and what is announced.
    spells: list[Spell] = field(default_factory=list)
    dusty_days: int = 0
    # The day by which a filter that is in for a while comes out, and by which somebody looks at it.
    out_by: date | None = None
    look_by: date | None = None
    # Clean drop in Pa at the slot's airflow of every medium it has held that has a curve.
    clean_of: dict[int, float] = field(default_factory=dict)
    # At hand: to ask a row for another takes long, and each is asked for a score of times.
    system: System = field(init=False)
    site: Site = field(init=False)

    def __post_init__(self) -> None:
        self.system = self.row.system
        self.site = self.system.site

    @property
    def now(self) -> Life:
        """The life of the filter that is in the slot."""
        return self.lives[-1]


def or_nan(value: float | bool | None) -> float:
    """NaN for None."""
    return np.nan if value is None else float(value)


def retired(slot: FilterSlot, as_of: date) -> bool:
    """Whether the slot, its system or its customer has ended by ``as_of``."""
    ended = (slot.retired_on, slot.system.replaced_on, slot.system.site.customer.gone_on)
    return any(day is not None and day <= as_of for day in ended)


def same_size(medium: Media, slot: FilterSlot) -> bool:
    """Whether the medium is of the size of the slot, to two millimetres."""
    sides = ((medium.short_m, slot.short_m), (medium.long_m, slot.long_m), (medium.depth_m, slot.depth_m))
    return all(abs(one - other) < 0.002 for one, other in sides)


def deal(lives: list[Life], readings: list[tuple[float, float, float | None]]) -> None:
    """Give each reading to the life it was taken in: one at the very instant of a change to the old."""
    place = 0
    for reading in readings:
        while place + 1 < len(lives) and reading[0] > lives[place + 1].began:
            place += 1
        if lives and reading[0] >= lives[place].began:
            lives[place].readings.append(reading)


def suppose_fresh(slot: SlotFacts, began: float, medium: int) -> None:
    """Add a life that begins with ``medium`` at ``began``, as if somebody had changed the filter then."""
    if "no_record" in slot.notes:
        slot.lives.clear()
        slot.notes.remove("no_record")
    slot.lives.append(Life(began, medium, True, True))


def note_clean(slot: SlotFacts, medium: Medium | None) -> None:
    """The clean drop in Pa of what is in the slot, NaN with a note where it cannot be told."""
    if medium is None:
        slot.notes.append("no_medium")
    elif medium.curve is None:
        slot.notes.append("no_points")
    elif not math.isnan(slot.airflow_m3s):
        if len(medium.curve.airflow_m3s) == 1:
            slot.notes.append("one_point")
        elif medium.curve.outside(slot.airflow_m3s):
            slot.notes.append("beyond_points")
        slot.clean_pa = slot.clean_of[medium.row.pk]


def reckon_clean(slots: list[SlotFacts], media: dict[int, Medium]) -> None:
    """Fill in ``clean_of``, a medium at a time."""
    held: dict[int, list[SlotFacts]] = defaultdict(list)
    for slot in slots:
        if not math.isnan(slot.airflow_m3s):
            for pk in {life.media for life in slot.lives if life.media}:
                held[pk].append(slot)
    for pk, some in held.items():
        curve = media[pk].curve
        if curve is not None:
            clean = curve.clean_drop(np.array([slot.airflow_m3s for slot in some]))
            for slot, drop in zip(some, clean.tolist(), strict=True):
                slot.clean_of[pk] = drop


def life_arrays(slots: list[SlotFacts], media: dict[int, Medium]) -> LifeRows:
    """The lives of all slots as flat rows."""
    lives = [(place, slot, life) for place, slot in enumerate(slots) for life in slot.lives]
    merv = {pk: or_nan(medium.row.merv) for pk, medium in media.items()}
    return LifeRows(
        slot=np.array([place for place, _, _ in lives], dtype=np.int64),
        began=np.array([life.began for _, _, life in lives], dtype=np.float64),
        clean_pa=np.array(
            [slot.clean_of.get(life.media or 0, np.nan) for _, slot, life in lives], dtype=np.float64
        ),
        merv=np.array([merv.get(life.media or 0, np.nan) for _, _, life in lives], dtype=np.float64),
        current=np.array([life is slot.now for _, slot, life in lives], dtype=np.bool_),
    )


def reading_arrays(slots: list[SlotFacts]) -> ReadingRows:
    """Readings by life, each carried to the slot's design airflow with the medium's own curve."""
    life_of: list[int] = []
    at: list[float] = []
    drop: list[float] = []
    row = 0
    for slot in slots:
        for life in slot.lives:
            # The start of a life that nobody saw begin cannot tell what its readings were loaded by.
            if life.readings and (life.known_start or life is slot.now):
                life_of.extend([row] * len(life.readings))
                at.extend(reading[0] for reading in life.readings)
                drop.extend(life.at_design)
            row += 1
    return ReadingRows(
        life=np.array(life_of, dtype=np.int64),
        at=np.array(at, dtype=np.float64),
        drop_pa=np.array(drop, dtype=np.float64),
    )


@dataclass(frozen=True)
class _Read:
    """One reading of a life that has a curve, by its place there."""

    slot: SlotFacts
    life: Life
    place: int


def carry_all(slots: list[SlotFacts], media: dict[int, Medium]) -> None:
    """Fill in ``at_design`` of all lives: a reading whose airflow was measured goes along its medium's curve,
    one of a fixed-speed blower by the usual fall of its airflow, any other stands as it was read."""
    measured: dict[int, list[_Read]] = defaultdict(list)
    held: list[_Read] = []
    for slot in slots:
        fixed = slot.system.blower == System.Blower.FIXED_SPEED
        for life in slot.lives:
            life.at_design = [reading[1] for reading in life.readings]
            if life.media in slot.clean_of:
                for place, reading in enumerate(life.readings):
                    if reading[2] is not None:
                        measured[life.media].append(_Read(slot, life, place))
                    elif fixed:
                        held.append(_Read(slot, life, place))
    for pk, rows in measured.items():
        _carry_measured(rows, media[pk].curve)
    _carry_held(held)


def _carry_held(rows: list[_Read]) -> None:
    drop = np.array([row.life.at_design[row.place] for row in rows], dtype=np.float64)
    clean = np.array([row.slot.clean_of[row.life.media or 0] for row in rows], dtype=np.float64)
    for row, carried in zip(rows, drop_at_held_airflow(drop, clean).tolist(), strict=True):
        row.life.at_design[row.place] = carried


def _carry_measured(rows: list[_Read], curve: LabelCurve | None) -> None:
    if curve is None:
        return
    read = [row.life.readings[row.place] for row in rows]
    drop = np.array([reading[1] for reading in read], dtype=np.float64)
    airflow = np.array([reading[2] for reading in read], dtype=np.float64)
    carried = curve.carry(drop, airflow, np.array([row.slot.airflow_m3s for row in rows])).tolist()
    outside = curve.extrapolates(airflow)
    for number, row in enumerate(rows):
        row.life.at_design[row.place] = carried[number]
        if outside[number] and "reading_beyond" not in row.slot.notes:
            row.slot.notes.append("reading_beyond")


def local_ordinal(at: datetime, tz: ZoneInfo) -> float:
    """The local day of ``at`` as an ordinal, with the fraction of the day that has passed."""
    local = at.astimezone(tz)
    return local.toordinal() + (local.hour * 3600 + local.minute * 60 + local.second) / 86400
