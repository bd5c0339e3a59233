"""Are our dates right? Every reading against what was promised of it four weeks before."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from equipment.access import units_of
from schedules.models import Foretold
from schedules.planning.foretell import CHANCES
from schedules.planning.kept import FEWEST, Kept, Share
from schedules.promises import Judged
from schedules.promises_kept import shown
from shared import charts
from shared.units import DIAMETER, METRE_PER_INCH, PRESSURE, show

# Errors are a tenth of the drops they are errors of.
_DECIMALS = {"ip": 3, "si": 1}


def page(request: HttpRequest) -> HttpResponse:
    """The desk's promises over two years: all, by month, by class and by town; a fixed number of queries,
    and on a large desk the morning's."""
    units, kept = units_of(request.user), shown(timezone.now())
    whole, shares = kept.judged.whole, kept.judged.shares
    context = {
        "at": kept.at,
        "kept": whole,
        "row": _row("", whole, units),
        "title": _title(whole),
        "verdict": _verdict(whole),
        "drawing": _drawing(shares) if shares else "",
        "shares": list(zip([_percent(chance) for chance in CHANCES], map(_share, shares), strict=False)),
        "tables": _tables(kept.judged, units),
        "left_out": _left_out(kept.judged),
        "fewest": FEWEST,
    }
    return render(request, "servicedesk/promises.html", context)


def _title(kept: Kept) -> str:
    if kept.span is None:
        return _("Are our dates right? There is too little to judge yet")
    if _lean_leads(kept):
        return {
            ("slower", False): _("Filters fill more slowly here than our dates say"),
            ("slower", True): _("Filters fill a little more slowly here than our dates say"),
            ("faster", False): _("Filters fill faster here than our dates say"),
            ("faster", True): _("Filters fill a little faster here than our dates say"),
        }[kept.lean, kept.slight]
    said = {"share": round(kept.span.share * 100)}
    return {
        "right": _("Our dates keep what they promise: %(share)s %% of readings fell in their span"),
        "wide": _("Our dates are surer than they say: %(share)s %% of readings fell in their span"),
        "narrow": _("Our dates promise too much: only %(share)s %% of readings fell in their span"),
    }[kept.verdict] % said


def _verdict(kept: Kept) -> str:
    if kept.span is None:
        return _(
            "%(n)s readings could be held to a promise; it takes %(fewest)s to say anything of a share."
        ) % {
            "n": kept.count,
            "fewest": FEWEST,
        }
    said = {
        "share": round(kept.span.share * 100),
        "low": round(kept.span.low * 100),
        "high": round(kept.span.high * 100),
        "n": kept.count,
    }
    span = (
        _(
            "Of %(n)s readings %(share)s in 100 fell between the lowest and the highest we had promised; "
            "80 were to (by so many readings it may be anything between %(low)s and %(high)s)."
        )
        % said
    )
    lean, wide = _lean(kept), _of_span(kept)
    parts = (lean, span, wide) if _lean_leads(kept) else (span, wide, lean)
    return " ".join(part for part in parts if part)


def _lean_leads(kept: Kept) -> bool:
    """Whether the side to which readings lie matters more than the width of the spans."""
    return bool(kept.lean) and not (kept.slight and kept.verdict in ("wide", "narrow"))


def _of_span(kept: Kept) -> str:
    """What it means that too many or too few readings fell in their span; empty where not."""
    return {
        "wide": _("The spans are wider than they need be: a date is surer than it says."),
        "narrow": _("The spans are too narrow: a date is less sure than it says."),
    }.get(kept.verdict, "")


def _lean(kept: Kept) -> str:
    """What it means that readings lie to one side of the middle that was promised; empty where not."""
    if not kept.lean or kept.under is None:
        return ""
    said = {"share": round(kept.under.share * 100)}
    return {
        "slower": _(
            "%(share)s in 100 readings lay below the middle of what was promised, and 50 were to: on "
            "the whole our dates come earlier than they need."
        ),
        "faster": _(
            "Only %(share)s in 100 readings lay below the middle of what was promised, and 50 were to: "
            "on the whole our dates come too late."
        ),
    }[kept.lean] % said


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %"


def _share(share: Share) -> dict[str, str]:
    return {"share": _percent(share.share), "interval": f"{share.low * 100:.0f}–{share.high * 100:.0f} %"}


def _row(name: str, kept: Kept, units: str) -> dict[str, Any]:
    row: dict[str, Any] = {"name": name, "kept": kept}
    if kept.span is not None:
        row |= _share(kept.span)
        row["error"] = show(kept.error_pa, PRESSURE, units, _DECIMALS[units])
        row["bias"] = show(kept.bias_pa, PRESSURE, units, _DECIMALS[units])
    return row


def _tables(said: Judged, units: str) -> list[tuple[str, list[dict[str, Any]]]]:
    months = [(formats.date_format(day, "F Y"), kept) for day, kept in reversed(said.months)]
    classes = [(_class(merv, inches, units), kept) for merv, inches, kept in said.classes]
    towns = [(town or _("no town on record"), kept) for town, kept in said.towns]
    tables = ((_("By month"), months), (_("By class of filter"), classes), (_("By town"), towns))
    return [(title, [_row(name, kept, units) for name, kept in rows]) for title, rows in tables]


def _class(merv: int, inches: int, units: str) -> str:
    said = {"merv": merv or "–", "depth": show(inches * METRE_PER_INCH, DIAMETER, units, 0)}
    return _("MERV %(merv)s, %(depth)s deep") % said


def _drawing(shares: list[Share]) -> str:
    points = [
        charts.Promise(chance, one.share, one.low, one.high)
        for chance, one in zip(CHANCES, shares, strict=True)
    ]
    return charts.calibration(
        _("Readings below each promise"),
        _("Share of readings at or below what was promised with 10, 50 and 90 %; on the line all is kept."),
        points,
        (_("promised, %"), _("read, %")),
    )


def _left_out(said: Judged) -> list[str]:
    """Which readings the figures do not hold, and why."""
    out = [(_("findings, see there"), said.findings), (_("to be looked at soon"), said.waiting)]
    out += [(str(Foretold.WhyNot(why).label), count) for why, count in said.without.items()]
    return [f"{count}: {why}" for why, count in out if count]
