"""media.csv, media_points.csv and stations.csv: small sheets, held whole by name."""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby, pairwise
from typing import Any

from equipment.models import Media, MediaPoint, Station
from equipment.sheets import columns as c
from equipment.sheets import written
from equipment.sheets.columns import Column
from equipment.sheets.context import Import, batches
from equipment.sheets.rows import media_cells, station_cells
from equipment.sheets.same import differences, same
from equipment.sheets.table import Cells, Row, Sheet
from equipment.sheets.tally import Difference
from shared import units

MEDIA = (
    Column("media", c.name, required=True, names="medium"),
    Column("nominal_size", c.size, required=True),
    Column("merv", c.whole(1, 20), required=True),
    Column("actual_size", c.size),
    Column("price", c.number(0, 1e6, "")),
    Column("dust_capacity_g", c.scaled(c.number(0, 1e5, "g", above=True), lambda grams: grams / 1000)),
    Column("max_days", c.whole(1, 36500)),
    Column("on_hand", c.whole(0, 10_000_000)),
    Column("kind", c.one_of("disposable", "washable", "deep")),
)
MEDIA_POINTS = (
    Column("media", c.name, required=True),
    Column("airflow_cfm", c.airflow(), required=True),
    Column("clean_drop_inwc", c.static(above=True), required=True),
)
STATIONS = (
    Column("station", c.name, required=True, names="station"),
    Column("latitude", c.number(-90, 90, "degrees"), required=True),
    Column("longitude", c.number(-180, 180, "degrees"), required=True),
)


def media_fields(row: Row) -> Row:
    """A row of media.csv as fields of Media, without what is unknown."""
    size, actual = row["nominal_size"], row.get("actual_size")
    fields: dict[str, Any] = {
        "nominal_size": size.label,
        "short_m": size.short_m,
        "long_m": size.long_m,
        "depth_m": size.depth_m,
        "merv": row["merv"],
        "kind": row.get("kind"),
        "dust_capacity_kg": row.get("dust_capacity_g"),
        "max_days": row.get("max_days"),
        "on_hand": row.get("on_hand"),
    }
    if row.get("price") is not None:
        fields["price"] = Decimal(str(row["price"])).quantize(Decimal("0.01"))
    if actual is not None:
        sides = ("actual_short_m", "actual_long_m", "actual_depth_m")
        fields |= dict(zip(sides, actual.triple, strict=True))
    return {key: value for key, value in fields.items() if value is not None}


def station_fields(row: Row) -> Row:
    """A row of stations.csv as fields of Station."""
    return {"latitude": row["latitude"], "longitude": row["longitude"]}


def load_media(sheet: Sheet, run: Import) -> None:
    """Store media.csv."""
    run.media |= _load_named(sheet, run, _Named("media", Media, media_fields, media_cells))


def load_stations(sheet: Sheet, run: Import) -> None:
    """Store stations.csv."""
    run.stations |= _load_named(sheet, run, _Named("station", Station, station_fields, station_cells))


@dataclass(frozen=True)
class _Named:
    """What a sheet of named things names, and how its rows become fields and fields its cells."""

    key: str
    model: Any
    fields_of: Callable[[Row], Row]
    cells_of: Callable[[Any], dict[str, str]]


def _load_named(sheet: Sheet, run: Import, named: _Named) -> set[int]:
    key, seen, touched = named.key, dict[str, Row](), set[int]()
    for batch in batches(sheet.rows()):
        names = [cells.values[key] for cells in batch]
        stored = {row.name: row for row in named.model.objects.filter(name__in=names)}
        for cells in batch:
            fields = named.fields_of(cells.values)
            if sheet.disputed(cells.values[key], cells, key):
                sheet.set_aside(cells.typed)
                continue
            if _already_seen(sheet, cells, key, seen, fields):
                run.tally.count(sheet.name, same=1)
                continue
            row = _stored_anew(run, sheet.name, cells, named, stored.get(cells.values[key]), fields)
            if row is not None:
                stored[row.name] = row
                touched.add(row.pk)
        run.progress(sheet.name, run.report.rows[sheet.name])
    run.changed(sheet.name, len(touched))
    return touched


def _stored_anew(run: Import, sheet: str, cells: Cells, named: _Named, row: Any, fields: Row) -> Any:
    """The row made or brought to ``fields``, and counted; None where it says what is on record."""
    if row is None:
        row = named.model(name=cells.values[named.key], **fields)
        run.tally.count(sheet, new=1)
        run.tally.note((sheet, cells.line))
    elif differences(row, fields):
        before = named.cells_of(row)
        for field, value in fields.items():
            setattr(row, field, value)
        run.tally.count(sheet, changed=1)
        run.tally.differ_in(sheet, cells.line, before, named.cells_of(row))
    else:
        run.tally.count(sheet, same=1)
        return None
    row.save()
    return row


def _already_seen(sheet: Sheet, cells: Cells, key: str, seen: dict[str, Row], fields: Row) -> bool:
    name = cells.values[key]
    if name not in seen:
        seen[name] = fields
        return False
    if seen[name] != fields:
        sheet.dispute.found(name, cells.line)
    return True


def load_points(sheet: Sheet, run: Import) -> None:
    """Store media_points.csv: a stored point with another drop is updated."""
    ids = dict(Media.objects.values_list("name", "pk"))
    stored = {(p.media_id, round(p.airflow_m3s, 9)): p for p in MediaPoint.objects.all()}
    seen: dict[tuple[int, float], float] = {}
    strangers: dict[Hashable, float] = {}
    for cells in sheet.rows(every=True):
        row = cells.values
        media = ids.get(row.get("media", ""))
        if media is None or not cells.good:
            _list_faults(sheet, cells, media, strangers)
            continue
        key = (media, round(row["airflow_cfm"], 9))
        if sheet.disputed(key, cells, "airflow_cfm"):
            continue
        if key in seen:
            if seen[key] != row["clean_drop_inwc"]:
                sheet.dispute.found(key, cells.line)
            run.tally.count(sheet.name, same=1)
            continue
        seen[key] = row["clean_drop_inwc"]
        point = stored.get(key)
        _tally_point(sheet, run, cells, point)
        if _store_point(point, media, row):
            run.media.add(media)
            run.changed(sheet.name, 1)
    _remark_falling_labels(sheet, {media for media, _ in seen})


def _list_faults(sheet: Sheet, cells: Cells, media: int | None, strangers: dict[Hashable, float]) -> None:
    """What else is wrong with a point that is refused anyway."""
    row = cells.values
    if media is None and "media" in row:
        sheet.refuse(cells.line, "media", row["media"], sheet.report.unknown("medium", row["media"]))
    if media is None and cells.good:
        key, drop = (row["media"], round(row["airflow_cfm"], 9)), row["clean_drop_inwc"]
        if not sheet.disputed(key, cells, "airflow_cfm") and strangers.setdefault(key, drop) != drop:
            sheet.dispute.found(key, cells.line)


def _remark_falling_labels(sheet: Sheet, media: Iterable[int]) -> None:
    """Say which labels, whole as stored now, show less drop at more airflow: none can, so one is mistyped."""
    for some in batches(sorted(media), 500):
        points = MediaPoint.objects.filter(media__in=some).select_related("media")
        for _, label in groupby(points.order_by("media", "airflow_m3s"), lambda point: point.media_id):
            for low, high in pairwise(label):
                if high.clean_drop_pa < low.clean_drop_pa:
                    sheet.report.remark(f"{sheet.name}: {_falls(low, high)}")


def _falls(low: MediaPoint, high: MediaPoint) -> str:
    cfm = [point.airflow_m3s / units.M3S_PER_CFM for point in (low, high)]
    drop = [point.clean_drop_pa / units.PA_PER_INWC for point in (low, high)]
    return (
        f"the drop of “{low.media.name}” falls from {drop[0]:.3g} to {drop[1]:.3g} in. w.c. as its airflow "
        f"rises from {cfm[0]:.0f} to {cfm[1]:.0f} cfm, which no filter does; what is worked out from this "
        "label is doubtful until it is mended"
    )


def _tally_point(sheet: Sheet, run: Import, cells: Cells, point: MediaPoint | None) -> None:
    drop = cells.values["clean_drop_inwc"]
    if point is None:
        run.tally.count(sheet.name, new=1)
        run.tally.note((sheet.name, cells.line))
    elif same(point.clean_drop_pa, drop):
        run.tally.count(sheet.name, same=1)
    else:
        run.tally.count(sheet.name, changed=1)
        before, after = written.inwc(point.clean_drop_pa), written.inwc(drop)
        run.tally.differ(Difference(sheet.name, cells.line, "clean_drop_inwc", before, after))


def _store_point(point: MediaPoint | None, media: int, row: Row) -> bool:
    point = point or MediaPoint(media_id=media, airflow_m3s=row["airflow_cfm"])
    if point.pk and not differences(point, {"clean_drop_pa": row["clean_drop_inwc"]}):
        return False
    point.clean_drop_pa = row["clean_drop_inwc"]
    point.save()
    return True
