"""How promises were kept, as it is shown: as of now, on a large desk as of the morning."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from schedules.day_results import of_the_day
from schedules.planning.kept import Kept, Share
from schedules.promises import Judged, judged

KEY = "promises"


@dataclass(frozen=True)
class Shown:
    """What came of the promises; ``at``: as of when, None for now."""

    judged: Judged
    at: datetime | None


def shown(now: datetime) -> Shown:
    """The promises of two years as they are judged today."""
    told, at = of_the_day(KEY, now, lambda: _as_json(judged(now)))
    return Shown(
        Judged(
            _kept(told["whole"]),
            [Share(*share) for share in told["shares"]],
            [(date.fromisoformat(day), _kept(kept)) for day, kept in told["months"]],
            [(merv, inches, _kept(kept)) for merv, inches, kept in told["classes"]],
            [(town, _kept(kept)) for town, kept in told["towns"]],
            told["findings"],
            told["without"],
            told["waiting"],
        ),
        at,
    )


def _as_json(said: Judged) -> dict[str, Any]:
    return {
        "whole": _told(said.whole),
        "shares": [[share.share, share.low, share.high] for share in said.shares],
        "months": [[day.isoformat(), _told(kept)] for day, kept in said.months],
        "classes": [[merv, inches, _told(kept)] for merv, inches, kept in said.classes],
        "towns": [[town, _told(kept)] for town, kept in said.towns],
        "findings": said.findings,
        "without": said.without,
        "waiting": said.waiting,
    }


def _told(kept: Kept) -> list[Any]:
    counts = [kept.count, kept.inside, kept.below, kept.above]
    if kept.span is None:
        return [counts, None, None, None]
    return [counts, [kept.span.share, kept.span.low, kept.span.high], kept.error_pa, kept.bias_pa]


def _kept(told: list[Any]) -> Kept:
    (count, inside, below, above), span, error, bias = told
    if span is None:
        return Kept(count, inside, below, above, None, np.nan, np.nan)
    return Kept(count, inside, below, above, Share(*span), error, bias)
