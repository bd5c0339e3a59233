"""Questions in a CSV file, each answered by the verdict: may this medium go there."""

import csv
from dataclasses import dataclass
from pathlib import Path

from equipment.curves import Medium, media_with_curves
from equipment.models import Media
from equipment.sheets import columns as c
from equipment.sheets.columns import Column
from equipment.sheets.faults import Report
from equipment.sheets.table import Cells, Row, Sheet
from equipment.verdict import Answer, Question, judge
from shared import units
from shared.files import replacing

QUERIES = (
    Column("nominal_size", c.size, required=True),
    Column("media", c.name, required=True),
    Column("system_kind", c.one_of("high_velocity", "conventional"), required=True),
    Column("blower", c.one_of("constant_airflow", "fixed_speed"), required=True),
    Column("capacity_tons", c.scaled(c.number(0, 200, "tons", above=True), units.tons)),
    Column("design_airflow_cfm", c.airflow()),
    Column("return_budget_inwc", c.static()),
    Column("return_static_inwc", c.static()),
    Column("rated_external_static_inwc", c.static()),
    Column("supply_static_inwc", c.static()),
    Column("blower_table", c.blower_table),
)
ANSWERS = (
    "face_velocity_fpm", "clean_drop_inwc", "airflow_cfm", "airflow_loss_percent", "drop_left_inwc",
    "verdict", "why",
)  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """A query's cells as they stand in the file, and the question they ask."""

    cells: list[str]
    question: Question


@dataclass(frozen=True)
class Queries:
    """The file's own header, and its questions in order."""

    header: list[str]
    asked: list[Asked]


def read_queries(path: Path, report: Report) -> Queries:
    """The questions of ``path``; every fault, an unknown medium among them, is noted in ``report``."""
    sheet = Sheet(path, QUERIES, report)
    rows = list(sheet.rows())
    for name in sheet.header:
        if name.strip().lower() in ANSWERS:
            sheet.refuse(1, name, name, "is a column of the answer and cannot stand in the question")
    media = _media({cells.values["media"] for cells in rows})
    for cells in rows:
        if cells.values["media"] not in media:
            sheet.refuse(cells.line, "media", cells.typed["media"], "no medium of this name is known")
    if report.faults:
        return Queries(sheet.header, [])
    return Queries(sheet.header, [Asked(cells.whole, _question(cells, media)) for cells in rows])


def _media(names: set[str]) -> dict[str, Medium]:
    ids = Media.objects.filter(name__in=names).values_list("pk", flat=True)
    return {medium.row.name: medium for medium in media_with_curves(ids).values()}


def _question(cells: Cells, media: dict[str, Medium]) -> Question:
    row: Row = cells.values
    medium = media[row["media"]]
    return Question(
        slot_size=row["nominal_size"].triple,
        medium_size=(medium.row.short_m, medium.row.long_m, medium.row.depth_m),
        curve=medium.curve,
        high_velocity=row["system_kind"] == "high_velocity",
        fixed_speed=row["blower"] == "fixed_speed",
        capacity_w=row.get("capacity_tons"),
        design_airflow_m3s=row.get("design_airflow_cfm"),
        return_budget_pa=row.get("return_budget_inwc"),
        return_static_pa=row.get("return_static_inwc"),
        rated_external_static_pa=row.get("rated_external_static_inwc"),
        supply_static_pa=row.get("supply_static_inwc"),
        blower_table=tuple((flow, static) for flow, static in row.get("blower_table") or ()),
    )


def write_answers(out: Path, queries: Queries) -> None:
    """The query's own columns and the answer's, put in place whole. Raises OSError."""
    width = len(queries.header)
    with replacing(out) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([*queries.header, *ANSWERS])
        for asked in queries.asked:
            writer.writerow([*asked.cells[:width], *_figures(judge(asked.question))])


def _figures(answer: Answer) -> list[str]:
    return [
        _figure(answer.face_velocity_ms, 1, units.MS_PER_FPM),
        _figure(answer.clean_drop_pa, 4, units.PA_PER_INWC),
        _figure(answer.airflow_m3s, 1, units.M3S_PER_CFM),
        _figure(answer.airflow_loss_percent, 2),
        _figure(answer.drop_left_pa, 4, units.PA_PER_INWC),
        answer.verdict,
        answer.why,
    ]


def _figure(value: float | None, decimals: int, unit: float = 1.0) -> str:
    # Adding nought turns -0.0 into 0.0.
    return "" if value is None else f"{round(value / unit, decimals) + 0.0:.{decimals}f}"
