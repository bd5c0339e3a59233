"""How the desk is doing: a page and a sheet of the same figures."""

import csv
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from equipment.fields import whole_number
from schedules.figures import FIGURES, Figure, Oldest, Table, Tally, value_of
from schedules.figures_kept import shown
from shared.cells import harmless


def page(request: HttpRequest) -> HttpResponse:
    """Each figure with its definition, by month, of all branches or of one."""
    known = shown(timezone.now())
    told = known.table
    chosen = _branch(request, told)
    oldest = known.oldest.get(chosen) or known.oldest[None]
    context = {
        "rows": [_row(figure, told, chosen) for figure in FIGURES],
        "months": told.months[::-1],
        "branches": told.branches if len(told.branches) > 1 else [],
        "chosen": chosen,
        "oldest": oldest,
        "as_of": known.at,
        "title": _title(told, oldest, chosen),
    }
    return render(request, "servicedesk/figures.html", context)


def sheet(request: HttpRequest) -> HttpResponse:
    """The same as CSV: a row a figure, branch and month, with what was summed and what it was divided by."""
    told = shown(timezone.now()).table
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="figures.csv"'
    out = csv.writer(answer)
    out.writerow(["figure", "branch", "month", "sum", "number", "value", "unit", "definition"])
    for figure in FIGURES:
        for key, name in told.branches:
            for month in told.months:
                tally = told.of(figure.key, month, key)
                value = _value(figure, tally)
                what = [figure.key, harmless(name), f"{month:%Y-%m}"]
                parts = ["", ""] if figure.kind == "most" else [f"{tally.amount:.10g}", f"{tally.of:.10g}"]
                out.writerow([*what, *parts, value, figure.kind, figure.definition])
    return answer


def _value(figure: Figure, tally: Tally) -> str:
    value = value_of(figure, tally)
    if value is None:
        return ""
    return f"{value:g}" if figure.kind in ("most", "count", "standing") else f"{value:.4f}"


def _branch(request: HttpRequest, told: Table) -> int | None:
    key = whole_number(request.GET.get("branch"))
    return key if key in dict(told.branches) else None


def _title(told: Table, oldest: Oldest, branch: int | None) -> str:
    share = told.of("on_time", None, branch).value
    if share is None and not oldest.count:
        return _("No filter with a date was changed yet: there is nothing to judge")
    if share is None:
        return _("No filter with a date was changed yet; %(n)s are past their date") % {"n": oldest.count}
    said = {"share": round(share * 100), "n": oldest.count}
    return _("%(share)s %% of filters were changed in their window; %(n)s are past their date") % said


def _row(figure: Figure, told: Table, branch: int | None) -> dict[str, Any]:
    return {
        "figure": figure,
        "cells": [_cell(figure, told.of(figure.key, month, branch)) for month in told.months[::-1]],
        "whole": _cell(figure, told.of(figure.key, None, branch)),
    }


def _cell(figure: Figure, tally: Tally) -> dict[str, str]:
    """What stands in the table, and how many it rests on."""
    if figure.kind in ("count", "standing", "most"):
        value = tally.most if figure.kind == "most" else tally.amount
        return {"text": number_format(value, 0), "of": ""}
    if tally.value is None:
        return {"text": "–", "of": ""}
    text = {
        "share": lambda value: f"{number_format(round(value * 100), 0)} %",
        "days": lambda value: number_format(round(value, 1), 1),
        "minutes": lambda value: number_format(round(value), 0),
    }[figure.kind](tally.value)
    return {"text": text, "of": _("of %(n)s") % {"n": number_format(tally.of, 0)}}
