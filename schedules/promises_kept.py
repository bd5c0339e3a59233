"""How promises were kept, as it is shown: as of now, on a large desk as of the morning."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from schedules.day_results import of_the_day
from schedules.planning.kept import Kept, Share
from schedules.promises import Judged, judged

# Named anew with each change of what is kept, so that a morning's result of before is not read.
KEY = "promises_and_lean"


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
        "shares": [_numbers(share) for share in said.shares],
        "months": [[day.isoformat(), _told(kept)] for day, kept in said.months],
        "classes": [[merv, inches, _told(kept)] for merv, inches, kept in said.classes],
        "towns": [[town, _told(kept)] for town, kept in said.towns],
        "findings": said.findings,
        "without": said.without,
        "waiting": said.waiting,
    }


def _told(kept: Kept) -> list[Any]:
    counts = [kept.count, kept.inside, kept.below, kept.above]
    if kept.span is None or kept.under is None:
        return [counts, None, None, None, None]
    return [counts, _numbers(kept.span), kept.error_pa, kept.bias_pa, _numbers(kept.under)]


def _numbers(one: Share) -> list[float]:
    return [one.share, one.low, one.high]


def _kept(told: list[Any]) -> Kept:
    (count, inside, below, above), span, error, bias, under = told
    if span is None:
        return Kept(count, inside, below, above, None, np.nan, np.nan, None)
    return Kept(count, inside, below, above, Share(*span), error, bias, Share(*under))
