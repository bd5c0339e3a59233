"""What a finding is, as a plan keeps it."""

from typing import TypedDict

from schedules.planning.climate import day_of


class Finding(TypedDict):
    """Drops in Pa, days ISO; ``at`` are the local ordinals of the readings it speaks of, ``until`` and
    ``began`` the days of a supposed change; ``present`` is whether it concerns the filter that is in
    there by the record."""

    kind: str
    on: str
    at: list[float]
    present: bool
    seen_pa: float | None
    beside_pa: float | None
    until: str | None
    began: str | None


def found(
    kind: str,
    at: list[float],
    present: bool,
    *,
    seen_pa: float | None = None,
    beside_pa: float | None = None,
    until: str | None = None,
    began: str | None = None,
) -> Finding:
    """A finding of ``kind`` on the day of its last instant."""
    on = day_of(int(at[-1])).isoformat()
    return Finding(
        kind=kind,
        on=on,
        at=at,
        present=present,
        seen_pa=seen_pa,
        beside_pa=beside_pa,
        until=until,
        began=began,
    )
