"""How the desk is doing and whether its dates are right, for programs."""

from datetime import date
from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from ninja import Router, Schema

from schedules import promises_kept
from schedules.figures import FIGURES, value_of
from schedules.figures_kept import shown
from schedules.planning.foretell import CHANCES
from schedules.planning.kept import PROMISED_SHARE, Kept, Share
from shared.paging import Page, Paged, page_of
from shared.units import PA_PER_INWC

router = Router()


class FigureOut(Schema):
    """A figure of a branch and month: its sum over its number (null: of the worst, days), what it counts and
    in which unit."""

    figure: str
    branch: str
    month: date
    sum: float | None
    number: float | None
    value: float | None
    kind: str
    definition: str


class ShareOut(Schema):
    """A share with its 95 % interval; ``promised`` beside it."""

    promised: float
    share: float
    low: float
    high: float


class KeptOut(Schema):
    """Readings held to what was promised of them, of all (no group) or of one group; error and bias in
    in. w.c., null where there are too few to judge; ``lean`` says whether filters fill ``slower`` or
    ``faster`` than was promised, and is empty where neither is clear."""

    by: str
    group: str
    count: int
    inside: int
    below: int
    above: int
    verdict: str
    lean: str
    span: ShareOut | None
    error_inwc: float | None
    bias_inwc: float | None


class PromisesOut(Schema):
    """Are our dates right: all readings, then by month, by class of filter and by town; how many lay below
    what was promised at each chance; what was left out, and why."""

    kept: list[KeptOut]
    calibration: list[ShareOut]
    findings: int
    without: dict[str, int]
    waiting: int


@router.get("/figures", url_name="api-figures", response=Page[FigureOut], tags=["figures"])
def figures(request: HttpRequest, paged: Paged, figure: str = "", branch: str = "") -> Any:
    """The figures of the last twelve months, by branch and month; of a large desk as of this morning."""
    told = shown(timezone.now()).table
    rows = []
    for one in FIGURES:
        for key, name in told.branches:
            if figure not in ("", one.key) or branch not in ("", name):
                continue
            for month in told.months:
                tally, most = told.of(one.key, month, key), one.kind == "most"
                rows.append(
                    FigureOut(
                        figure=one.key, branch=name, month=month, value=value_of(one, tally),
                        sum=None if most else tally.amount, number=None if most else tally.of,
                        kind=one.kind, definition=str(one.definition),
                    )
                )  # fmt: skip
    return page_of(rows, paged)


@router.get("/promises", url_name="api-promises", response=PromisesOut, tags=["figures"])
def kept_promises(request: HttpRequest) -> Any:
    """Every reading of two years against what was promised of it; of a large desk as of this morning."""
    said = promises_kept.shown(timezone.now()).judged
    rows = [_kept("all", "", said.whole)]
    rows += [_kept("month", day.isoformat(), one) for day, one in said.months]
    rows += [_kept("class", f"MERV {merv or '?'}, {inches} in", one) for merv, inches, one in said.classes]
    rows += [_kept("town", town, one) for town, one in said.towns]
    shares = zip(CHANCES, said.shares, strict=False)
    return PromisesOut(
        kept=rows, calibration=[_share(chance, one) for chance, one in shares],
        findings=said.findings, without=said.without, waiting=said.waiting,
    )  # fmt: skip


def _kept(by: str, group: str, kept: Kept) -> KeptOut:
    enough = kept.span is not None
    return KeptOut(
        by=by, group=group, count=kept.count, inside=kept.inside, below=kept.below, above=kept.above,
        verdict=kept.verdict, lean=kept.lean, span=_share(PROMISED_SHARE, kept.span) if kept.span else None,
        error_inwc=round(kept.error_pa / PA_PER_INWC, 6) if enough else None,
        bias_inwc=round(kept.bias_pa / PA_PER_INWC, 6) if enough else None,
    )  # fmt: skip


def _share(promised: float, one: Share) -> ShareOut:
    return ShareOut(promised=promised, share=one.share, low=one.low, high=one.high)
