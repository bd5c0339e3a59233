"""An install as its form has it: named, stored, planned, and what to say at once of its ducts."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from equipment.air_side import air_side
from equipment.commissioning import Measured
from equipment.handover import HandOver, NewSlot, alike, hand_over, placed
from equipment.models import Desk, FilterSlot, Site, System, User
from equipment.record import NotRecordable
from schedules import due
from schedules.air_words import title as air_title
from shared import clock

# More homes of one name are a landlord's; they are told apart by looking them up.
MOST_ALIKE = 8


@dataclass(frozen=True)
class Told:
    """What the form and its slots' forms read, for a ``home`` on record or a new one; units of the words."""

    home: Site | None
    data: dict[str, Any]
    slots: list[dict[str, Any]]
    units: str


def homes_alike(data: dict[str, Any]) -> list[Site]:
    """Homes on record that the install may be at, before a new one is made."""
    rows = alike(data["customer"], data["street"], data["postcode"]).select_related("customer")
    return list(rows[:MOST_ALIKE])


def store(told: Told, user: User, now: datetime) -> tuple[Site, list[str]]:
    """Store the install and plan its filters; its home, and warnings of ducts and airflow. Raises
    NotRecordable."""
    site = hand_over(_filled(told.home, told.data, told.slots, now), user, now)
    due.replan(now, FilterSlot.objects.filter(system__site=site))
    return site, _warnings(site, told.units)


def _warnings(site: Site, units: str) -> list[str]:
    """Where ducts and coil leave the filter nothing, or the air is too little."""
    found = []
    for system in site.systems.filter(replaced_on=None).select_related("site"):
        side = air_side(system, [])
        if side.below_floor or (side.tightest is not None and side.tightest.left <= 0):
            found.append(f"{system.name}: {air_title(side, units)}.")
    return found


def _filled(home: Site | None, data: dict[str, Any], slots: list[dict[str, Any]], now: datetime) -> HandOver:
    street = " ".join((home.street or home.name if home else data["street"]).split())
    customer = home.customer.name if home else data["customer"]
    site = {} if home else _site(customer, street, data)
    site_name = home.name if home else site["name"]
    wanted = [slot for slot in slots if slot.get("size")]
    return HandOver(
        customer=customer,
        person={
            "name": customer,
            "email": data.get("email", ""),
            "phone": data.get("phone", ""),
            "language": data.get("language", "en"),
        },
        site=site,
        system={
            "name": _free_name(System, f"{site_name} system"),
            "kind": data["kind"],
            "blower": data["blower"],
            "blower_table": data["blower_table"],
            "capacity_w": data["capacity"],
            "design_airflow_m3s": data["design_airflow"],
            "rated_external_static_pa": data["rated_static"],
            "return_budget_pa": data["return_budget"],
        },
        at=_instant(data["on"], home, site, now),
        slots=[_slot(name, slot) for name, slot in zip(_slot_names(street, wanted), wanted, strict=True)],
        air=Measured(
            airflow_m3s=data["airflow"],
            airflow_method=data["airflow_method"],
            return_static_pa=data["return_static"],
            filter_in=data["filter_in"] == "in",
            supply_static_pa=data["supply_static"],
            filter_drop_pa=max((slot["clean_drop"] or 0.0 for slot in wanted), default=0.0) or None,
            blower_tap=data["blower_tap"],
            coil=data["coil"],
        ),
        cautions=data.get("cautions", ""),
        key=data["key"] or None,
        home=home,
    )


def _site(customer: str, street: str, data: dict[str, Any]) -> dict[str, Any]:
    told = ("city", "region", "postcode", "latitude", "longitude", "timezone", "pets")
    name = _free_name(Site, f"{customer}, {street}")
    return placed({"name": name, "street": street, **{key: data[key] for key in told}})


def _instant(on: date | None, home: Site | None, site: dict[str, Any], now: datetime) -> datetime:
    """Of an install today a moment ago, so that a reading taken at once is not of the time to come; of an
    earlier one its noon. Raises NotRecordable for a day to come."""
    desk_zone = Desk.the().timezone
    tz = home.zone(desk_zone) if home else clock.zone(site.get("timezone") or desk_zone)
    today = clock.local_day(now, tz)
    on = on or today
    # Where the desk's day has begun and the home's has not, the desk's today is meant.
    if on > max(today, due.today(now)):
        raise NotRecordable(_("That day is still to come."))
    return clock.send_at(on, tz, 12) if on < today else now - timedelta(seconds=1)


def _slot(name: str, slot: dict[str, Any]) -> NewSlot:
    return NewSlot(
        name=name,
        size=slot["size"],
        location=slot["location"],
        access_notes=slot["access_notes"],
        height_m=slot["height"],
        media=slot["medium"],
        changed_by=slot["changed_by"] or FilterSlot.ChangedBy.OCCUPANT,
        clean_drop_pa=slot["clean_drop"],
        airflow_m3s=slot["airflow"],
    )


def _slot_names(street: str, slots: list[dict[str, Any]]) -> list[str]:
    """A code for each slot's tag: street and place, or street and number where no place was written."""
    names: list[str] = []
    for number, slot in enumerate(slots, start=1):
        place = slot["location"] or _("filter %(number)d") % {"number": number}
        names.append(_free_name(FilterSlot, re.sub(r"\s+", " ", f"{street}, {place}"), names))
    return names


def _free_name(model: Any, wanted: str, taken: Sequence[str] = ()) -> str:
    """``wanted``, or with a number behind it where that name is taken."""
    name, number = wanted[:110], 2
    while name in taken or model.objects.filter(name=name).exists():
        name, number = f"{wanted[:110]} {number}", number + 1
    return name
