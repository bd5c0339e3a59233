"""One slot's rows as lives: each filter's time in the slot, with what was read of it."""

from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from equipment.airside.fan import drop_at_held_airflow
from equipment.airside.media import LabelCurve
from equipment.curves import Medium
from equipment.models import FilterSlot, Media, System
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


@dataclass
class SlotFacts:
    """What one slot's rows say, before it becomes a column of numbers."""

    row: FilterSlot
    lives: list[Life]
    notes: list[str]
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


def clean_drop(medium: Medium | None, airflow: float, notes: list[str]) -> float:
    """Clean drop in Pa of ``medium`` at ``airflow`` in m3/s, NaN with a note where it cannot be told."""
    if medium is None:
        notes.append("no_medium")
        return np.nan
    if medium.curve is None:
        notes.append("no_points")
        return np.nan
    if np.isnan(airflow):
        return np.nan
    if len(medium.curve.airflow_m3s) == 1:
        notes.append("one_point")
    elif medium.curve.extrapolates(np.array([airflow]))[0]:
        notes.append("beyond_points")
    return float(medium.curve.clean_drop(np.array([airflow]))[0])


def life_arrays(slots: list[SlotFacts], media: dict[int, Medium]) -> LifeRows:
    """The lives of all slots as flat rows."""
    lives = [(place, life, life is slot.now) for place, slot in enumerate(slots) for life in slot.lives]
    clean = []
    for place, life, _ in lives:
        medium, airflow = media.get(life.media or 0), slots[place].airflow_m3s
        usable = medium is not None and medium.curve is not None and not np.isnan(airflow)
        clean.append(float(medium.curve.clean_drop(np.array([airflow]))[0]) if usable else np.nan)  # type: ignore[union-attr]
    return LifeRows(
        slot=np.array([place for place, _, _ in lives], dtype=np.int64),
        began=np.array([life.began for _, life, _ in lives], dtype=np.float64),
        clean_pa=np.array(clean, dtype=np.float64),
        merv=np.array(
            [or_nan(media[life.media].row.merv if life.media else None) for _, life, _ in lives],
            dtype=np.float64,
        ),
        current=np.array([current for _, _, current in lives], dtype=np.bool_),
    )


def reading_arrays(slots: list[SlotFacts], media: dict[int, Medium]) -> ReadingRows:
    """Readings by life, each carried to the slot's design airflow with the medium's own curve."""
    rows: list[tuple[int, float, float]] = []
    row = 0
    for slot in slots:
        for life in slot.lives:
            medium = media.get(life.media or 0)
            curve = medium.curve if medium else None
            # The start of a life that nobody saw begin cannot tell what its readings were loaded by.
            if life.readings and (life.known_start or life is slot.now):
                rows.extend((row, at, drop) for at, drop in carried(slot, life, curve))
            row += 1
    return ReadingRows(
        life=np.array([life for life, _, _ in rows], dtype=np.int64),
        at=np.array([at for _, at, _ in rows], dtype=np.float64),
        drop_pa=np.array([drop for _, _, drop in rows], dtype=np.float64),
    )


def carried(slot: SlotFacts, life: Life, curve: LabelCurve | None) -> list[tuple[float, float]]:
    """The life's readings as instant and drop at design airflow."""
    at, drop = (np.array([reading[part] for reading in life.readings], dtype=np.float64) for part in (0, 1))
    airflow = np.array([or_nan(reading[2]) for reading in life.readings])
    if curve is None or np.isnan(slot.airflow_m3s):
        return list(zip(at.tolist(), drop.tolist(), strict=True))
    noted = ~np.isnan(airflow)
    design = np.full(int(noted.sum()), slot.airflow_m3s)
    if curve.extrapolates(airflow[noted]).any() and "reading_beyond" not in slot.notes:
        slot.notes.append("reading_beyond")
    drop[noted] = curve.carry(drop[noted], airflow[noted], design)
    if slot.row.system.blower == System.Blower.FIXED_SPEED and not noted.all():
        clean = np.full(int((~noted).sum()), float(curve.clean_drop(np.array([slot.airflow_m3s]))[0]))
        drop[~noted] = drop_at_held_airflow(drop[~noted], clean)
    return list(zip(at.tolist(), drop.tolist(), strict=True))


def local_ordinal(at: datetime, tz: ZoneInfo) -> float:
    """The local day of ``at`` as an ordinal, with the fraction of the day that has passed."""
    local = at.astimezone(tz)
    return local.toordinal() + (local.hour * 3600 + local.minute * 60 + local.second) / 86400
