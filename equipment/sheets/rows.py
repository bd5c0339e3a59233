"""What the sheets say of one stored row: its columns and their cells, as the import reads them."""

from equipment.handover import zone_of
from equipment.models import FilterSlot, Media, MediaPoint, Person, Site, Station, System
from equipment.sheets import columns as c
from equipment.sheets import written
from equipment.sheets.faults import Refused

Written = dict[str, str]


def media_cells(media: Media) -> Written:
    """A row of media.csv. A count below nought says that somebody counted wrong: it is left empty."""
    actual = (media.actual_short_m, media.actual_long_m, media.actual_depth_m)
    counted = media.on_hand if media.on_hand is None or media.on_hand >= 0 else None
    return {
        "media": written.text(media.name),
        "nominal_size": written.size((media.short_m, media.long_m, media.depth_m), media.nominal_size),
        "merv": str(media.merv),
        "actual_size": written.size(actual),
        "price": "" if media.price is None else f"{media.price:.2f}",
        "dust_capacity_g": written.grams(media.dust_capacity_kg),
        "max_days": written.whole(media.max_days),
        "on_hand": written.whole(counted),
        "kind": media.kind,
    }


def point_cells(point: MediaPoint) -> Written:
    """A row of media_points.csv."""
    return {
        "media": written.text(point.media.name),
        "airflow_cfm": written.cfm(point.airflow_m3s),
        "clean_drop_inwc": written.inwc(point.clean_drop_pa),
    }


def station_cells(station: Station) -> Written:
    """A row of stations.csv."""
    return {
        "station": written.text(station.name),
        "latitude": written.number(station.latitude),
        "longitude": written.number(station.longitude),
    }


def site_cells(site: Site, desk_zone: str) -> Written:
    """What a row of installed.csv says of its site. Half a position is none."""
    placed = site.placed
    return {
        "customer": written.text(site.customer.name),
        "site": written.text(site.name),
        "street": written.text(site.street),
        "city": written.text(site.city),
        "region": written.text(site.region),
        "postcode": written.text(site.postcode),
        "latitude": written.number(site.latitude if placed else None),
        "longitude": written.number(site.longitude if placed else None),
        "timezone": _zone_cell(site, desk_zone),
        "weather_station": written.text(site.station.name) if site.station else "",
        "pets": written.yes_no(site.pets),
        "smokers": written.yes_no(site.smokers),
    }


def _zone_cell(site: Site, desk_zone: str) -> str:
    """The site's own zone, or nothing; the desk's by name where the import would take the postcode's."""
    own = written.taken(site.timezone, c.timezone)
    return own or (desk_zone if zone_of(site.postcode.strip()) else "")


def system_cells(system: System) -> Written:
    """What a row of installed.csv says of its system."""
    return {
        "system": written.text(system.name),
        "site": written.text(system.site.name),
        "system_kind": system.kind,
        "capacity_tons": written.tons(system.capacity_w),
        "design_airflow_cfm": written.cfm(system.design_airflow_m3s),
        "blower": system.blower,
        "blower_table": written.table(system.blower_table),
        "rated_external_static_inwc": written.inwc(system.rated_external_static_pa),
        "return_budget_inwc": written.inwc(system.return_budget_pa),
        "return_static_inwc": written.inwc(system.return_static_pa),
        "supply_static_inwc": written.inwc(system.supply_static_pa),
    }


def slot_cells(slot: FilterSlot) -> Written:
    """What a row of installed.csv says of its filter slot."""
    return {
        "filter_slot": written.text(slot.name),
        "system": written.text(slot.system.name),
        "nominal_size": written.size((slot.short_m, slot.long_m, slot.depth_m), slot.nominal_size),
        "location": written.text(slot.location),
        "media": written.text(slot.first_media.name) if slot.first_media else "",
        "fitted_on": written.day(slot.fitted_on),
        "limit_drop_inwc": written.inwc(slot.limit_drop_pa),
        "changed_by": slot.changed_by,
        "access_notes": written.text(slot.access_notes),
    }


def person_cells(person: Person | None) -> Written:
    """What a row of installed.csv says of who changes the filters; of nobody what the import would make."""
    if person is None:
        return {"email": "", "phone": "", "language": Person._meta.get_field("language").get_default()}
    return {
        "email": written.text(person.email),
        "phone": written.text(person.phone),
        "language": _language(person.language),
    }


def _language(code: str) -> str:
    try:
        return c.language(code.strip())
    except Refused:
        return str(Person._meta.get_field("language").get_default())


def zone_of_site(site: Site, desk_zone: str) -> str:
    """The zone that the import takes for the site once its row was read."""
    return written.taken(site.timezone, c.timezone) or desk_zone
