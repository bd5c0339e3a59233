"""An invented desk stored: what all homes share first, then chunk by chunk, each a transaction."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from django.db import transaction

from equipment import bulk
from equipment.models import (
    Customer,
    FilterChange,
    FilterSlot,
    Media,
    MediaPoint,
    Person,
    Reading,
    RuntimeDay,
    Site,
    SiteRole,
    Station,
    System,
    WeatherDay,
)
from servicedesk.invented import draws
from servicedesk.invented.draws import MERVS, SIZES_IN, Chunk, Floats, Ints
from shared.units import METRE_PER_INCH

HOMES_A_CHUNK = 5000
# 1.4 filters a home, by the shares in draws.
SLOTS_A_HOME = 1.4
WEATHER_DAYS = 760
_SYLLABLES = ("ka", "lo", "mi", "ren", "tu", "ves", "dor", "an", "pel", "sho", "bri", "ul")
_TABLES = (Customer, Site, System, FilterSlot, FilterChange, Reading, RuntimeDay, Person, SiteRole)


class NotEmpty(RuntimeError):
    """The desk has homes: invented ones are never stored beside them."""


@dataclass(frozen=True)
class Size:
    """How large: filters, the share of systems whose fan is metered, and for how many days back."""

    filters: int
    logged_share: float = 0.1
    log_days: int = 365
    seed: int = 1


@dataclass(frozen=True)
class Shared:
    """Keys of media and stations in the order of the draws, the weather, and the day and moment of it all."""

    media: Ints
    stations: Ints
    temps_c: Floats
    as_of: date
    now: datetime


def invent(size: Size, as_of: date, now: datetime) -> Iterator[int]:
    """Store the desk; yields how many filters are in after each chunk. Raises NotEmpty."""
    if Site.objects.exists():
        raise NotEmpty("The desk has homes already; invented ones are stored into an empty desk only.")
    with transaction.atomic():
        shared = _shared(size, as_of, now)
    homes, done = round(size.filters / SLOTS_A_HOME), 0
    for first in range(0, homes, HOMES_A_CHUNK):
        chunk = draws.draw(size.seed, first, min(HOMES_A_CHUNK, homes - first), size.logged_share)
        with transaction.atomic():
            _store(chunk, shared, size)
        done += len(chunk.slot_system)
        yield done
    bulk.number_on(_TABLES)


def _shared(size: Size, as_of: date, now: datetime) -> Shared:
    media = [_medium(inches, merv) for inches in SIZES_IN for merv in MERVS]
    temps = draws.temperatures(size.seed, as_of, WEATHER_DAYS)
    stations = []
    for number in range(draws.STATIONS):
        latitude = float(draws.latitude_of(np.array([number]))[0])
        row = Station.objects.create(
            name=f"W{number:03d}", latitude=latitude, longitude=-100.0, weather_changed_at=now
        )
        days = [as_of - timedelta(days=WEATHER_DAYS - 1 - i) for i in range(WEATHER_DAYS)]
        bulk.insert(
            WeatherDay,
            {"station_id": [row.pk] * len(days), "day": days, "mean_temp_c": temps[number].tolist()},
        )
        stations.append(row.pk)
    return Shared(np.array(media), np.array(stations), temps, as_of, now)


def _medium(inches: tuple[int, int, int], merv: int) -> int:
    size, place = SIZES_IN.index(inches), MERVS.index(merv)
    short, long, depth = (side * METRE_PER_INCH for side in inches)
    spelt = "x".join(map(str, inches))
    row = Media.objects.create(
        name=f"M{merv} {spelt}", nominal_size=spelt, short_m=short, long_m=long, depth_m=depth, merv=merv,
        kind=Media.Kind.DEEP if inches[2] > 2 else Media.Kind.DISPOSABLE, price=6 + merv,
    )  # fmt: skip
    for airflow in (0.2, 0.4, 0.7):
        drop = draws.clean_pa(np.array([size]), np.array([place]), np.array([airflow]))
        MediaPoint.objects.create(media=row, airflow_m3s=airflow, clean_drop_pa=float(drop[0]))
    return row.pk


def _store(chunk: Chunk, shared: Shared, size: Size) -> None:
    homes, systems, slots = len(chunk.station), len(chunk.system_site), len(chunk.slot_system)
    site = _site_rows(chunk, shared, homes)
    first_system = bulk.last_numbers(System) + 1
    system = np.arange(first_system, first_system + systems)
    bulk.insert(System, {
        "id": system.tolist(), "name": [f"Y{number}" for number in system],
        "site_id": site[chunk.system_site].tolist(), "kind": [System.Kind.CONVENTIONAL.value] * systems,
        "design_airflow_m3s": chunk.airflow_m3s.tolist(),
        "blower": [System.Blower.FIXED_SPEED.value] * systems,
    })  # fmt: skip
    first_slot = bulk.last_numbers(FilterSlot) + 1
    slot = np.arange(first_slot, first_slot + slots)
    medium = shared.media[chunk.size * len(MERVS) + chunk.merv]
    _slot_rows(chunk, shared, slot, system, medium)
    days = [shared.as_of - timedelta(days=int(ago)) for ago in chunk.change_days_ago]
    bulk.insert(FilterChange, {
        "slot_id": slot[chunk.change_slot].tolist(), "changed_on": days,
        "changed_at": [draws.instant(shared.as_of, ago) for ago in chunk.change_days_ago],
        "media_id": medium[chunk.change_slot].tolist(), "recorded_at": [shared.now] * len(days),
    })  # fmt: skip
    bulk.insert(Reading, {
        "slot_id": slot[chunk.reading_slot].tolist(),
        "taken_at": [draws.instant(shared.as_of, ago) for ago in chunk.reading_days_ago],
        "filter_drop_pa": chunk.reading_pa.tolist(), "recorded_at": [shared.now] * len(chunk.reading_slot),
    })  # fmt: skip
    _runtime_rows(chunk, shared, size, system)


def _site_rows(chunk: Chunk, shared: Shared, homes: int) -> Ints:
    first, first_customer = bulk.last_numbers(Site) + 1, bulk.last_numbers(Customer) + 1
    site, customer = np.arange(first, first + homes), np.arange(first_customer, first_customer + homes)
    numbers = range(chunk.first_site, chunk.first_site + homes)
    bulk.insert(Customer, {
        "id": customer.tolist(), "name": [f"{surname(k)} {k}" for k in numbers],
        "created_at": [shared.now] * homes,
    })  # fmt: skip
    bulk.insert(Site, {
        "id": site.tolist(), "name": [f"H{k}" for k in numbers], "customer_id": customer.tolist(),
        "street": [f"{k % 997 + 1} {surname(k // 997)} Street" for k in numbers],
        "city": [surname(k) + "ville" for k in chunk.station], "region": ["ZZ"] * homes,
        "postcode": [f"{k:05d}" for k in chunk.station], "latitude": chunk.latitude.tolist(),
        "longitude": chunk.longitude.tolist(), "station_id": shared.stations[chunk.station].tolist(),
        "pets": (chunk.pets == 1).tolist(),
    })  # fmt: skip
    first_person = bulk.last_numbers(Person) + 1
    person = np.arange(first_person, first_person + homes)
    bulk.insert(Person, {
        "id": person.tolist(), "name": [f"{surname(k * 7)} {surname(k)}" for k in numbers],
        "email": [f"h{k}@home.invalid" for k in numbers],
    })  # fmt: skip
    for role in (SiteRole.Role.OCCUPANT, SiteRole.Role.FILTER_CHANGER):
        bulk.insert(SiteRole, {
            "site_id": site.tolist(), "person_id": person.tolist(), "role": [role.value] * homes,
        })  # fmt: skip
    return site


def surname(number: int) -> str:
    """A name of three syllables by number."""
    parts = len(_SYLLABLES)
    places = (number % parts, number // parts % parts, number // parts**2 % parts)
    return "".join(_SYLLABLES[place] for place in places).capitalize()


def _slot_rows(chunk: Chunk, shared: Shared, slot: Ints, system: Ints, medium: Ints) -> None:
    inches = np.array(SIZES_IN, dtype=np.float64)[chunk.size] * METRE_PER_INCH
    bulk.insert(FilterSlot, {
        "id": slot.tolist(), "name": [f"F{number}" for number in slot],
        "system_id": system[chunk.slot_system].tolist(),
        "nominal_size": ["x".join(map(str, SIZES_IN[size])) for size in chunk.size],
        "short_m": inches[:, 0].tolist(), "long_m": inches[:, 1].tolist(), "depth_m": inches[:, 2].tolist(),
        "location": ["hall ceiling"] * len(slot), "first_media_id": medium.tolist(),
        "fitted_on": [shared.as_of - timedelta(days=int(ago)) for ago in chunk.fitted_days_ago],
        "facts_changed_at": [shared.now] * len(slot),
    })  # fmt: skip


def _runtime_rows(chunk: Chunk, shared: Shared, size: Size, system: Ints) -> None:
    logged = np.flatnonzero(chunk.logged)
    if not len(logged) or not size.log_days:
        return
    temps = shared.temps_c[chunk.station[chunk.system_site[logged]], -size.log_days :]
    values = draws.hours(size.seed, chunk.first_site, logged, temps)
    days = [shared.as_of - timedelta(days=size.log_days - 1 - i) for i in range(size.log_days)]
    bulk.insert(RuntimeDay, {
        "system_id": np.repeat(system[logged], size.log_days).tolist(), "day": days * len(logged),
        "fan_hours": values.ravel().tolist(),
    })  # fmt: skip
