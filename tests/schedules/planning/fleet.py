"""Facts of small fleets in arrays, for tests of the engine."""

from dataclasses import replace
from typing import Any

import numpy as np

from schedules.planning.facts import FleetFacts, LifeRows, ReadingRows, Slots, Systems, Weather
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC

AS_OF = 739_748  # 12 May 2026
CLEAN_PA = 0.1 * PA_PER_INWC


def one_slot(
    *,
    readings: list[tuple[float, float]] | None = None,
    past: list[tuple[float, list[tuple[float, float]]]] | None = None,
    hours: np.ndarray | float | None = 6.0,
    log_days: int = 400,
    **slot: Any,
) -> FleetFacts:
    """A 16x25x1 slot at 400 cfm whose filter went in 60 days ago.

    ``readings`` are pairs of days before the end of the as-of day and Pa; ``past`` holds earlier lives
    as the days before it at which they began, with their readings. ``hours`` is the log.
    """
    began = AS_OF + 1.0 - slot.pop("days_in", 60.0)
    fields: dict[str, Any] = {
        "system": 0,
        "home": 0,
        "area_m2": 16 * 25 * METRE_PER_INCH**2,
        "airflow_m3s": 400 * M3S_PER_CFM,
        "clean_pa": CLEAN_PA,
        "limit_pa": 2 * CLEAN_PA,
        "merv": 8.0,
        "depth_m": METRE_PER_INCH,
        "pets": np.nan,
        "smokers": np.nan,
        "began": began,
        "began_known": True,
        "began_at_end": False,
        "recorded": True,
        "cap_days": 36_500.0,
        "medium_days": np.nan,
        "change_price": np.nan,
        "constant_airflow": True,
    } | slot
    lives = [*(past or []), (AS_OF + 1.0 - fields["began"], readings or [])]
    rows = [(row, AS_OF + 1.0 - ago, drop) for row, (_, read) in enumerate(lives) for ago, drop in sorted(
        read, reverse=True)]  # fmt: skip
    log = np.full((1, log_days), np.nan) if hours is None else np.broadcast_to(hours, (1, log_days)).copy()
    return FleetFacts(
        as_of=AS_OF,
        weather=Weather(AS_OF - 400, np.full((1, 401), np.nan), np.array([41.9])),
        systems=Systems(AS_OF + 1 - log_days, log.astype(float), np.array([0])),
        slots=Slots(**{name: np.array([value]) for name, value in fields.items()}),
        lives=LifeRows(
            slot=np.zeros(len(lives), dtype=np.int64),
            began=np.array([AS_OF + 1.0 - ago for ago, _ in lives]),
            clean_pa=np.full(len(lives), fields["clean_pa"]),
            merv=np.full(len(lives), fields["merv"]),
            current=np.arange(len(lives)) == len(lives) - 1,
        ),
        readings=ReadingRows(
            life=np.array([row for row, _, _ in rows], dtype=np.int64),
            at=np.array([at for _, at, _ in rows], dtype=float),
            drop_pa=np.array([drop for _, _, drop in rows], dtype=float),
        ),
    )


def with_weather(facts: FleetFacts, temps_c: np.ndarray) -> FleetFacts:
    """The same facts with daily means that end on the as-of day."""
    first = AS_OF + 1 - len(temps_c)
    return replace(facts, weather=Weather(first, temps_c[None, :], np.array([41.9])))
