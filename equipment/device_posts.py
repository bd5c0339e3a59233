"""What a device posts: runtime by day and readings, in batches, late, out of order, twice; stored once."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _
from simple_history.utils import bulk_create_with_history

from equipment import runtime_trace
from equipment.fan_log import fan_log
from equipment.models import Desk, Device, FilterSlot, Reading, RuntimeDay
from equipment.record import HIGHEST_AIRFLOW_M3S, HIGHEST_DROP_PA
from shared import clock

# A clock may be so far ahead of ours.
AHEAD = timedelta(minutes=5)
# Two figures that differ by less are the same, printed otherwise.
SAME = 1e-6


@dataclass(frozen=True)
class DayPosted:
    """Fan hours of a local day."""

    day: date
    fan_hours: float


@dataclass(frozen=True)
class ReadingPosted:
    """A filter drop in Pa at an instant, with the airflow through the slot in m3/s if it was measured;
    ``slot`` by its name, empty where the system has but one."""

    taken_at: datetime
    filter_drop_pa: float
    airflow_m3s: float | None = None
    slot: str = ""


@dataclass(frozen=True)
class Refused:
    """A row that was not taken: of which list, its place there from nought, and why."""

    of: str
    row: int
    why: str


@dataclass
class Outcome:
    """How many rows were ``stored``, put a day's hours right (``changed``) or were ``known`` already, and the
    ``refused`` ones."""

    stored: int = 0
    changed: int = 0
    known: int = 0
    refused: list[Refused] = field(default_factory=list)


def take(
    device: Device, days: Sequence[DayPosted], readings: Sequence[ReadingPosted], now: datetime
) -> Outcome:
    """Store what is new of a batch; each row is judged by itself, and the same batch again changes nothing.

    A day posted again with other hours is put right, for a day is posted while it lasts; what it was stays in
    ``RuntimeBefore``. Seven queries and the stamps, however long the batch is.
    """
    told = Outcome()
    zone = device.system.site.zone(Desk.the().timezone)
    with transaction.atomic():
        if _days(device, days, zone, now, told) + _readings(device, readings, now, told):
            FilterSlot.objects.filter(system=device.system_id).update(facts_changed_at=now)
        Device.objects.filter(pk=device.pk).update(heard_at=now)
    return told


def _days(device: Device, days: Sequence[DayPosted], zone: ZoneInfo, now: datetime, told: Outcome) -> int:
    today, good = clock.local_day(now, zone), dict[date, float]()
    for row, one in enumerate(days):
        if why := _wrong_day(one, zone, today):
            told.refused.append(Refused("runtime", row, why))
        else:
            told.known += one.day in good
            good[one.day] = one.fan_hours
    # Nobody else puts these days right meanwhile.
    list(
        RuntimeDay.objects.select_for_update().filter(system=device.system_id, day__in=good).values_list("pk")
    )
    before = _known_hours(device.system_id, good)
    new = [day for day in good if day not in before]
    other = [day for day in good if day in before and abs(before[day] - good[day]) > SAME]
    runtime_trace.note([(device.system_id, day, before[day]) for day in other], device.name, now)
    RuntimeDay.objects.bulk_create(
        [RuntimeDay(system_id=device.system_id, day=day, fan_hours=good[day]) for day in (*new, *other)],
        update_conflicts=True, unique_fields=["system", "day"], update_fields=["fan_hours"], batch_size=500,
    )  # fmt: skip
    told.stored += len(new)
    told.changed += len(other)
    told.known += len(good) - len(new) - len(other)
    return len(new) + len(other)


def _known_hours(system: int, days: Collection[date]) -> dict[date, float]:
    if not days:
        return {}
    log = fan_log([system], max(days), since=min(days))
    return {day: hours for (_system, day), hours in log.by_day().items()}


def _wrong_day(one: DayPosted, zone: ZoneInfo, today: date) -> str:
    if one.day > today:
        return _("That day is still to come.")
    longest = max(24.0, clock.hours_in_day(one.day, zone))
    if not 0 <= one.fan_hours <= longest:
        return _("A day has from 0 to %(n)g fan hours.") % {"n": longest}
    return ""


def _readings(device: Device, readings: Sequence[ReadingPosted], now: datetime, told: Outcome) -> int:
    slots = {
        name: pk
        for pk, name in FilterSlot.objects.in_use().filter(system=device.system_id).values_list("pk", "name")
    }
    good: dict[tuple[int, datetime], tuple[int, ReadingPosted]] = {}
    for row, one in enumerate(readings):
        slot = _slot(one, slots)
        if why := _wrong_reading(one, slot, now):
            told.refused.append(Refused("readings", row, why))
        elif slot is not None:
            _once(good, (slot, one.taken_at), row, one, told)
    before = {(row.slot_id, row.taken_at): row for row in _on_record(good)}
    new = {key: one for key, (_row, one) in good.items() if key not in before}
    for key in good.keys() & before.keys():
        row, one = good[key]
        _beside(row, one, before[key].filter_drop_pa, before[key].airflow_m3s, told)
    # With their history, so that what is put right later can be told.
    bulk_create_with_history(
        [
            Reading(
                slot_id=slot, taken_at=at, filter_drop_pa=one.filter_drop_pa, airflow_m3s=one.airflow_m3s,
                airflow_method=_("by %(device)s") % {"device": device.name} if one.airflow_m3s else "",
            )
            for (slot, at), one in new.items()
        ],
        Reading, ignore_conflicts=True, batch_size=500, default_change_reason=device.name,
    )  # fmt: skip
    told.stored += len(new)
    return len(new)


def _slot(one: ReadingPosted, slots: dict[str, int]) -> int | None:
    if not one.slot and len(slots) == 1:
        return next(iter(slots.values()))
    return slots.get(one.slot)


def _wrong_reading(one: ReadingPosted, slot: int | None, now: datetime) -> str:
    if slot is None:
        return _("Say which filter slot of this system it is.")
    if one.taken_at > now + AHEAD:
        return _("That moment is still to come.")
    if not 0 <= one.filter_drop_pa <= HIGHEST_DROP_PA:
        return _("A filter drop of that size is more than any blower here can draw. Check the unit.")
    if one.airflow_m3s is not None and not 0 < one.airflow_m3s <= HIGHEST_AIRFLOW_M3S:
        return _("The airflow must be above 0 and within what a home's blower moves. Check the unit.")
    return ""


def _once(
    good: dict[tuple[int, datetime], tuple[int, ReadingPosted]],
    key: tuple[int, datetime],
    row: int,
    one: ReadingPosted,
    told: Outcome,
) -> None:
    """Of two readings of one instant in a batch the first counts."""
    if key in good:
        first = good[key][1]
        _beside(row, one, first.filter_drop_pa, first.airflow_m3s, told)
    else:
        good[key] = (row, one)


def _beside(row: int, one: ReadingPosted, drop_pa: float, airflow_m3s: float | None, told: Outcome) -> None:
    """The same reading is known; another of its instant is refused, for a reading is not put right unseen."""
    same_air = abs((one.airflow_m3s or 0.0) - (airflow_m3s or 0.0)) <= SAME
    if abs(one.filter_drop_pa - drop_pa) <= SAME and same_air:
        told.known += 1
    else:
        told.refused.append(Refused("readings", row, _("Another reading of that very moment is on record.")))


def _on_record(keys: Iterable[tuple[int, datetime]]) -> Iterable[Reading]:
    some = list(keys)
    if not some:
        return []
    slots, instants = {slot for slot, _at in some}, [at for _slot, at in some]
    return Reading.objects.filter(slot__in=slots, taken_at__range=(min(instants), max(instants))).only(
        "slot", "taken_at", "filter_drop_pa", "airflow_m3s"
    )
