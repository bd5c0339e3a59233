"""What judging every row of a device's batch, and its stamps, cost beside merely writing the rows."""

import json
import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test import Client

from equipment.device_posts import DayPosted, ReadingPosted, take
from equipment.models import Device, Reading
from tests.factories import NOW, TODAY, DeviceFactory, FilterSlotFactory

DEVICES, READINGS = 100, 24
FIELDS = "slot_id, taken_at, filter_drop_pa, airflow_method, recorded_at"


@pytest.fixture
def devices(db: None) -> list[Device]:
    made = [DeviceFactory() for _n in range(DEVICES)]
    for device in made:
        FilterSlotFactory(system=device.system)
    return made


def readings_of(number: int) -> list[ReadingPosted]:
    return [
        ReadingPosted(NOW - timedelta(hours=n + 1), 40.0 + number / 10 + n / 100) for n in range(READINGS)
    ]


def bare(devices: list[Device]) -> float:
    """Seconds to write all readings at once: COPY on PostgreSQL, one prepared statement on SQLite."""
    slots = [device.system.slots.get().pk for device in devices]
    rows = [
        (slot, one.taken_at, one.filter_drop_pa, "", NOW)
        for number, slot in enumerate(slots)
        for one in readings_of(number)
    ]
    table = Reading._meta.db_table
    start = time.perf_counter()
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({FIELDS}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            cursor.executemany(f"INSERT INTO {table} ({FIELDS}) VALUES (%s, %s, %s, %s, %s)", rows)
    spent = time.perf_counter() - start
    assert Reading.objects.count() == len(rows)
    Reading.objects.all().delete()
    return spent


@pytest.mark.long
@pytest.mark.benchmark
def test_batches_of_a_day(devices: list[Device], ratio: Callable[[str, float, float], float]) -> None:
    yardstick_s = bare(devices)
    start = time.perf_counter()
    for number, device in enumerate(devices):
        take(device, [DayPosted(TODAY, 5.0)], readings_of(number), NOW)
    stored_s = time.perf_counter() - start
    assert Reading.objects.count() == DEVICES * READINGS
    start = time.perf_counter()
    for number, device in enumerate(devices):
        _post(device, number)
    posted_s = time.perf_counter() - start
    assert Reading.objects.count() == DEVICES * READINGS
    what = f"{DEVICES} batches of {READINGS} readings"
    ratio(f"{what}, judged and stored, against writing their rows", stored_s, yardstick_s)
    ratio(f"{what}, posted again by key, against the same", posted_s, yardstick_s)


def _post(device: Device, number: int) -> None:
    rows = [
        {"taken_at": one.taken_at.isoformat(), "filter_drop_pa": one.filter_drop_pa}
        for one in readings_of(number)
    ]
    body = json.dumps({"runtime": [{"day": TODAY.isoformat(), "fan_hours": 5.0}], "readings": rows})
    key = f"key-{device.name.removeprefix('logger-')}"
    answer = Client().generic(
        "POST", "/api/v1/devices/batch", body, "application/json", headers={"Authorization": f"Bearer {key}"}
    )
    assert answer.json() == {"stored": 0, "changed": 0, "known": READINGS + 1, "refused": []}
