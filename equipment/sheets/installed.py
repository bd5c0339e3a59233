"""installed.csv: one row a filter slot, with its customer, site and system repeated."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any

from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from equipment.handover import zone_of
from equipment.models import Customer, FilterSlot, Media, Person, Site, SiteRole, Station, System
from equipment.sheets import columns as c
from equipment.sheets.ahead import Ahead
from equipment.sheets.columns import Column
from equipment.sheets.context import Import, batches
from equipment.sheets.faults import Refused
from equipment.sheets.noted import Note, Noted, nothing_noted
from equipment.sheets.other_size import OtherSizes
from equipment.sheets.people import filter_changers
from equipment.sheets.rows import person_cells, site_cells, slot_cells, system_cells
from equipment.sheets.same import differences
from equipment.sheets.table import Cells, Row, Sheet
from shared import units

INSTALLED = (
    Column("customer", c.text(200), required=True),
    Column("site", c.name, required=True),
    Column("system", c.name, required=True, names="system"),
    Column("filter_slot", c.name, required=True, names="filter slot"),
    Column("nominal_size", c.size, required=True),
    Column("email", c.email),
    Column("phone", c.text(40)),
    Column("language", c.language),
    Column("street", c.text(200)),
    Column("city", c.text(80)),
    Column("region", c.text(80)),
    Column("postcode", c.text(20)),
    Column("latitude", c.number(-90, 90, "degrees")),
    Column("longitude", c.number(-180, 180, "degrees")),
    Column("timezone", c.timezone),
    Column("weather_station", c.name),
    Column("system_kind", c.one_of("high_velocity", "conventional")),
    Column("capacity_tons", c.scaled(c.number(0, 200, "tons", above=True), units.tons)),
    Column("design_airflow_cfm", c.airflow()),
    Column("blower", c.one_of("constant_airflow", "fixed_speed")),
    Column("blower_table", c.blower_table),
    Column("rated_external_static_inwc", c.static()),
    Column("return_budget_inwc", c.static()),
    Column("return_static_inwc", c.static()),
    Column("supply_static_inwc", c.static()),
    Column("location", c.text(200)),
    Column("media", c.name),
    Column("fitted_on", c.day),
    Column("limit_drop_inwc", c.static(above=True)),
    Column("changed_by", c.one_of("occupant", "technician")),
    Column("pets", c.yes_no),
    Column("smokers", c.yes_no),
    Column("access_notes", c.note),
)

# What repeats on every row of a site or a system, and the field that holds it.
PERSON = {"email": "email", "phone": "phone", "language": "language"}
SITE = {
    "street": "street",
    "city": "city",
    "region": "region",
    "postcode": "postcode",
    "latitude": "latitude",
    "longitude": "longitude",
    "timezone": "timezone",
    "weather_station": "station_id",
    "pets": "pets",
    "smokers": "smokers",
}
SYSTEM = {
    "system_kind": "kind",
    "capacity_tons": "capacity_w",
    "design_airflow_cfm": "design_airflow_m3s",
    "blower": "blower",
    "blower_table": "blower_table",
    "rated_external_static_inwc": "rated_external_static_pa",
    "return_budget_inwc": "return_budget_pa",
    "return_static_inwc": "return_static_pa",
    "supply_static_inwc": "supply_static_pa",
}
SLOT = {
    "location": "location",
    "media": "first_media_id",
    "fitted_on": "fitted_on",
    "limit_drop_inwc": "limit_drop_pa",
    "changed_by": "changed_by",
    "access_notes": "access_notes",
}
_SITE_COLUMNS = ("customer", *PERSON, *SITE)
_SYSTEM_COLUMNS = ("site", *SYSTEM)


def load_installed(sheet: Sheet, run: Import) -> None:
    """Store installed.csv. An empty cell says nothing: what is stored stays."""
    agreement, ahead, other = Agreement(sheet), Ahead(sheet, run, "fitted_on"), OtherSizes(sheet)
    sizes = dict(Media.objects.values_list("name", "nominal_size"))
    ids = {
        "media": dict(Media.objects.values_list("name", "pk")),
        "weather_station": dict(Station.objects.values_list("name", "pk")),
    }
    for batch in batches(sheet.rows(every=True)):
        good = []
        for cells in batch:
            # All are asked even where the first says no: every fault is to be listed.
            if all([cells.good, _refers(sheet, cells, ids), _whole_place(sheet, cells),
                    _fitted(sheet, cells, ahead), agreement.agrees(cells)]):  # fmt: skip
                good.append(cells)
                ahead.note(cells.values.get("fitted_on"), cells.line)
                _note_size(cells, sizes, other)
            else:
                sheet.set_aside(cells.typed)
        _store(good, run)
        run.progress(sheet.name, run.report.rows[sheet.name])
    ahead.remark()
    other.remark()


def _whole_place(sheet: Sheet, cells: Cells) -> bool:
    """Half a position is none; what is said of the half that is missing."""
    given = {name: bool(cells.typed.get(name)) for name in ("latitude", "longitude")}
    if len(set(given.values())) == 1:
        return True
    there, missing = sorted(given, key=lambda name: not given[name])
    sheet.refuse(cells.line, missing, "", f"is empty beside a {there}; a position needs both")
    return False


def _fitted(sheet: Sheet, cells: Cells, ahead: Ahead) -> bool:
    day = cells.values.get("fitted_on")
    try:
        if day is not None:
            ahead.check(day)
    except Refused as refused:
        sheet.refuse(cells.line, "fitted_on", cells.typed["fitted_on"], str(refused))
        return False
    return True


def _note_size(cells: Cells, sizes: dict[str, str], other: OtherSizes) -> None:
    medium, row = cells.typed.get("media"), cells.values
    if medium:
        other.note(cells.line, medium, sizes[medium], row["filter_slot"], row["nominal_size"].label)


def _refers(sheet: Sheet, cells: Cells, ids: dict[str, dict[str, int]]) -> bool:
    """Put ids in the place of names; a name that is not known is a fault."""
    good = True
    for column, known in ids.items():
        name = cells.values.get(column)
        if name is not None:
            cells.values[column] = known.get(name)
            if cells.values[column] is None:
                what = "medium" if column == "media" else "station"
                sheet.refuse(cells.line, column, name, sheet.report.unknown(what, name))
                good = False
    return good


@dataclass(frozen=True)
class Part:
    """What a row says of its slot, system or site, beside what the rows before it said of the same."""

    what: str
    known: dict[str, Row]
    key: str | None
    columns: tuple[str, ...]

    def contradicted(self, row: Row) -> list[str]:
        """The columns that say otherwise."""
        before = self.known.get(self.key or "", {})
        return [
            name
            for name in self.columns
            if name in before and row.get(name) is not None and row[name] != before[name]
        ]

    def learn(self, row: Row) -> None:
        """Remember what the row says."""
        if self.key is not None:
            said = {name: row[name] for name in self.columns if row.get(name) is not None}
            self.known.setdefault(self.key, {}).update(said)


class Agreement:
    """Whether the rows of one file say the same of a site, a system and a slot."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.sites: dict[str, Row] = {}
        self.systems: dict[str, Row] = {}
        self.slots: dict[str, Row] = {}

    def agrees(self, cells: Cells) -> bool:
        """Note what the row says, or every column that contradicts another row; True when none does."""
        row = cells.values
        whole_row = tuple(name for name in row if name != "filter_slot")
        parts = (
            Part("filter slot", self.slots, row.get("filter_slot"), whole_row),
            Part("system", self.systems, row.get("system"), _SYSTEM_COLUMNS),
            Part("site", self.sites, row.get("site"), _SITE_COLUMNS),
        )
        if self.sheet.dispute and self._disputed(parts, cells):
            return False
        found = [(part, name) for part in parts for name in part.contradicted(row)]
        for part, name in found:
            self.sheet.dispute.found((part.what, part.key, name), cells.line)
        if found:
            return False
        for part in parts:
            part.learn(row)
        return True

    def _disputed(self, parts: Iterable[Part], cells: Cells) -> bool:
        """Refuse the row at every column over which rows contradict each other, once a column."""
        reasons: dict[str, str] = {}
        for part in parts:
            for name in part.columns:
                if cells.values.get(name) is not None:
                    other = self.sheet.dispute.other((part.what, part.key, name), cells.line)
                    if other:
                        reasons[name] = f"another row of this {part.what} says otherwise, see line {other}"
        for name, reason in reasons.items():
            self.sheet.refuse(cells.line, name, cells.typed[name], reason)
        return bool(reasons)


def _given(row: Row, names: dict[str, str]) -> Row:
    return {field: row[column] for column, field in names.items() if row.get(column) is not None}


def _store(said: list[Cells], run: Import) -> None:
    rows = [cells.values for cells in said]
    noted = Noted(run, said)
    customers = _upsert(Customer, {row["customer"]: {} for row in rows})[0]
    homes = _merged(
        (row["site"], {"customer_id": customers[row["customer"]].pk} | _given(row, SITE)) for row in rows
    )
    site_cells_here = partial(site_cells, desk_zone=run.desk_zone)
    sites, changed_sites = _upsert(Site, _zoned(homes), noted=noted.of("site", site_cells_here))
    changed_people = _store_people(rows, sites, noted.of("site", person_cells))
    systems, changed_systems = _upsert(
        System,
        _merged((row["system"], {"site_id": sites[row["site"]].pk} | _given(row, SYSTEM)) for row in rows),
        noted=noted.of("system", system_cells),
    )
    slot_rows = _merged((row["filter_slot"], _slot_fields(row, systems)) for row in rows)
    before = set(FilterSlot.objects.filter(name__in=list(slot_rows)).values_list("name", flat=True))
    slots, changed_slots = _upsert(
        FilterSlot, slot_rows, {"facts_changed_at": run.now}, noted.of("filter_slot", slot_cells)
    )
    run.slots |= changed_slots
    run.systems |= changed_systems
    run.slots |= set(FilterSlot.objects.filter(system__site__in=changed_sites).values_list("pk", flat=True))
    touched = [
        row["filter_slot"]
        for row in rows
        if slots[row["filter_slot"]].pk in changed_slots
        or systems[row["system"]].pk in changed_systems
        or sites[row["site"]].pk in changed_sites | changed_people
    ]
    run.changed("installed.csv", len(touched))
    noted.count(touched, before)


def _zoned(homes: dict[str, Row]) -> dict[str, Row]:
    """With the zone of the postcode where neither the sheet nor the record has one."""
    stored = dict(Site.objects.filter(name__in=list(homes)).values_list("name", "timezone"))
    for name, fields in homes.items():
        if (
            not fields.get("timezone")
            and not stored.get(name)
            and (zone := zone_of(fields.get("postcode", "")))
        ):
            fields["timezone"] = zone
    return homes


def _slot_fields(row: Row, systems: dict[str, Any]) -> Row:
    size = row["nominal_size"]
    return {
        "system_id": systems[row["system"]].pk,
        "nominal_size": size.label,
        "short_m": size.short_m,
        "long_m": size.long_m,
        "depth_m": size.depth_m,
    } | _given(row, SLOT)


def _merged(rows: Iterable[tuple[str, Row]]) -> dict[str, Row]:
    merged: dict[str, Row] = {}
    for name, fields in rows:
        merged.setdefault(name, {}).update(fields)
    return merged


def _upsert(
    model: Any, wanted: dict[str, Row], when_new: Row | None = None, noted: Note = nothing_noted
) -> tuple[dict[str, Any], set[int]]:
    """Rows of ``model`` by name, made or brought to ``wanted``, and the ids of those that changed."""
    stored: dict[str, Any] = {row.name: row for row in model.objects.filter(name__in=list(wanted))}
    fresh = [
        model(name=name, **fields, **(when_new or {}))
        for name, fields in wanted.items()
        if name not in stored
    ]
    # In the sheet's order, which is the same in every run.
    known = ((stored[name], fields) for name, fields in wanted.items() if name in stored)
    other = [row for row, fields in known if differences(row, fields)]
    fields_changed: set[str] = set()
    for row in other:
        noted(row.name, row, wanted[row.name])
        fields_changed |= set(wanted[row.name])
    if other:
        bulk_update_with_history(other, model, sorted(fields_changed), batch_size=500)
    if fresh:
        bulk_create_with_history(fresh, model, batch_size=500)
        stored |= {row.name: row for row in model.objects.filter(name__in=[row.name for row in fresh])}
    changed = {stored[row.name].pk for row in (*fresh, *other)}
    return stored, changed


def _store_people(rows: list[Row], sites: dict[str, Any], noted: Note) -> set[int]:
    """The sites whose filter changer was made or brought to what the sheet says."""
    said = _merged((row["site"], {"name": row["customer"]} | _given(row, PERSON)) for row in rows)
    changers = filter_changers(site.pk for site in sites.values())
    changed: set[int] = set()
    fresh: list[SiteRole] = []
    for name, fields in said.items():
        site = sites[name].pk
        person = changers.get(site)
        if person is None:
            person = Person.objects.create(**fields)
            roles = (SiteRole.Role.OCCUPANT, SiteRole.Role.FILTER_CHANGER)
            fresh += [SiteRole(site_id=site, person=person, role=role) for role in roles]
            changed.add(site)
            continue
        fields.pop("name")
        if differences(person, fields):
            noted(name, person, fields)
            person.save()
            changed.add(site)
    if fresh:
        bulk_create_with_history(fresh, SiteRole, batch_size=500)
    return changed
