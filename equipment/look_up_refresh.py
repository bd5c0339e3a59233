"""The look-up's texts brought up to date with what the triggers noted."""

from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db import OperationalError, connection, transaction
from django.db.models import Q, QuerySet
from psycopg.errors import LockNotAvailable

from equipment.fitted import made_by
from equipment.look_up_tables import STALE, TEXT, WORD
from equipment.look_up_text import fold
from equipment.models import FilterChange, FilterSlot, SiteRole
from equipment.sheets.context import batches

AT_ONCE = 2000
# A home that was imported is noted some six times, for each of its rows: with many at once its texts are
# written but once. SQLite has one writer, who is not kept waiting so long.
MANY_AT_ONCE = {"postgresql": 20_000, "sqlite": AT_ONCE}
A_SWEEP = 5
# Whoever searches waits no longer than this for another's round.
PATIENCE_MS = 200
_COLUMNS = ("place", "body", "phones", "media", "size", "short_m", "long_m", "depth_m", "sort")
_FIELDS = (
    "pk", "name", "location", "nominal_size", "short_m", "long_m", "depth_m", "first_media__name",
    "system__name", "system__site", "system__site__name", "system__site__street", "system__site__city",
    "system__site__region", "system__site__postcode", "system__site__customer__name",
)  # fmt: skip
_SLOTS_OF: dict[str, Callable[[list[int]], Q]] = {
    "slot": lambda ids: Q(pk__in=ids),
    "system": lambda ids: Q(system__in=ids),
    "site": lambda ids: Q(system__site__in=ids),
    "customer": lambda ids: Q(system__site__customer__in=ids),
    "person": lambda ids: Q(system__site__in=SiteRole.objects.filter(person__in=ids).values("site")),
    "media": lambda ids: (
        Q(first_media__in=ids) | Q(pk__in=FilterChange.objects.filter(media__in=ids).values("slot"))
    ),
}
Row = dict[str, Any]


def refresh(now: datetime, at_most: int | None = None) -> int:
    """Write the texts of the slots noted since the last time, and say how many; one query where none was.

    All of them, or ``at_most`` so many transactions' worth: who asks need not wait out a large import, nor
    long for another who is at it.

    Safe beside other writers: what is noted after the list was read is left for the next time, and two
    refreshers wait for each other, so that an older text never covers a newer one.
    """
    count = rounds = 0
    while (at_most is None or rounds < at_most) and _is_due(now):
        try:
            count, rounds = count + _refresh_some(now, AT_ONCE, PATIENCE_MS if at_most else 0), rounds + 1
        except OperationalError as error:
            if not isinstance(error.__cause__, LockNotAvailable):
                raise
            break
    return count


def sweep(now: datetime) -> int:
    """The same in larger rounds, and a few of them: the next sweep goes on."""
    count = 0
    for _ in range(A_SWEEP):
        if not _is_due(now):
            break
        count += _refresh_some(now, MANY_AT_ONCE[connection.vendor], 0)
    return count


def _is_due(now: datetime) -> bool:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT 1 FROM {STALE} WHERE due IS NULL OR due <= %s LIMIT 1", [_stored(now)])  # noqa: S608
        return cursor.fetchone() is not None


@transaction.atomic
def _refresh_some(now: datetime, at_once: int, patience_ms: int) -> int:
    """A short transaction, so that nobody else who writes to SQLite waits long."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT set_config('lock_timeout', %s, true)", [str(patience_ms)])
            cursor.execute(f"LOCK TABLE {STALE} IN SHARE UPDATE EXCLUSIVE MODE")
            cursor.execute("SELECT set_config('lock_timeout', '0', true)")
        some = f"SELECT id FROM {STALE} WHERE due IS NULL OR due <= %s ORDER BY id LIMIT {at_once}"  # noqa: S608
        cursor.execute(f"DELETE FROM {STALE} WHERE id IN ({some}) RETURNING kind, ref", [_stored(now)])  # noqa: S608
        slots, words = _slots_of(cursor.fetchall()), set[str]()
        for few in batches(sorted(slots), AT_ONCE):
            words |= _write(cursor, few, now)
        insert = f"INSERT INTO {WORD} (word) VALUES (%s) ON CONFLICT DO NOTHING"  # noqa: S608
        cursor.executemany(insert, [(word,) for word in sorted(words)])
    return len(slots)


def _stored(at: datetime) -> Any:
    return connection.ops.adapt_datetimefield_value(at)


def _slots_of(noted: Iterable[tuple[str, int]]) -> set[int]:
    of_kind: dict[str, set[int]] = defaultdict(set)
    for kind, ref in noted:
        of_kind[kind].add(ref)
    slots = of_kind.pop("slot", set())
    for kind, refs in of_kind.items():
        for some in batches(sorted(refs), AT_ONCE):
            slots |= set(FilterSlot.objects.filter(_SLOTS_OF[kind](some)).values_list("pk", flat=True))
    return slots


def _write(cursor: Any, slots: list[int], now: datetime) -> set[str]:
    """The rows of some slots, and the words that stand in them."""
    rows = list(FilterSlot.objects.in_use().filter(pk__in=slots).values(*_FIELDS))
    people = _people(row["system__site"] for row in rows)
    media = _media(cursor, FilterSlot.objects.filter(pk__in=slots), now)
    texts = [_text(row, people[row["system__site"]], media.get(row["pk"])) for row in rows]
    gone = set(slots) - {row["pk"] for row in rows}
    cursor.executemany(f"DELETE FROM {TEXT} WHERE slot_id = %s", [(slot,) for slot in sorted(gone)])  # noqa: S608
    names, marks = ", ".join(_COLUMNS), ", ".join(["%s"] * (len(_COLUMNS) + 1))
    anew = ", ".join(f"{name} = excluded.{name}" for name in _COLUMNS)
    other = " OR ".join(f"{TEXT}.{name} <> excluded.{name}" for name in _COLUMNS)
    cursor.executemany(
        f"INSERT INTO {TEXT} (slot_id, {names}) VALUES ({marks}) "  # noqa: S608
        f"ON CONFLICT (slot_id) DO UPDATE SET {anew} WHERE {other}",
        [(row["pk"], *text.values()) for row, text in zip(rows, texts, strict=True)],
    )
    return {word for text in texts for word in f"{text['body']} {text['media']}".split() if _is_word(word)}


def _is_word(word: str) -> bool:
    return word.isalnum() and len(word) > 3 and any(letter.isalpha() for letter in word)


def _people(sites: Iterable[int]) -> dict[int, list[tuple[str, str]]]:
    people: dict[int, list[tuple[str, str]]] = defaultdict(list)
    roles = SiteRole.objects.filter(site__in=set(sites)).order_by("pk")
    for site, *person in roles.values_list("site", "person__name", "person__phone"):
        people[site].append((person[0], person[1]))
    return people


def _media(cursor: Any, slots: QuerySet[FilterSlot], now: datetime) -> dict[int, str]:
    """The medium that the last change put in, by slot; a change still to come is noted for its day."""
    ids = slots.values("pk")
    named = made_by(now).filter(slot__in=ids, media__isnull=False).order_by("changed_at")
    coming = FilterChange.objects.filter(
        slot__in=ids, undone_at=None, changed_at__gt=now + timedelta(days=1), media__isnull=False
    )
    cursor.executemany(
        f"INSERT INTO {STALE} (kind, ref, due) VALUES ('slot', %s, %s)",  # noqa: S608
        [(slot, _stored(at - timedelta(days=1))) for slot, at in coming.values_list("slot_id", "changed_at")],
    )
    return dict(named.values_list("slot_id", "media__name"))


def _text(row: Row, people: list[tuple[str, str]], medium: str | None) -> Row:
    """A slot's row; the marks say what a word is: @code@, &system&, ~postcode, !side!."""
    site = "system__site__"
    said = (row[site + "street"], row[site + "name"], row[site + "customer__name"], row["location"])
    place = " ".join(fold(part) for part in said if part)
    code, postcode = fold(row["name"]), fold(row[site + "postcode"])
    sides = row["nominal_size"].split("x")[:2]
    others = dict.fromkeys([code, code.replace(" ", "")])
    body = [place, *(f"@{one}@" for one in others), code.replace(" ", ""), f"&{fold(row['system__name'])}&"]
    body += [
        fold(row[site + "city"]),
        fold(row[site + "region"]),
        f"~{postcode}",
        *(f"!{side}!" for side in sides),
    ]
    body += dict.fromkeys(fold(name) for name, _phone in people)
    phones = ("".join(mark for mark in phone if mark.isdigit()) for _name, phone in people)
    return {
        "place": f" {place} ",
        "body": f" {' '.join(body)} ",
        "phones": f" {' '.join(dict.fromkeys(phone for phone in phones if phone))} ",
        "media": f" {fold(medium or row['first_media__name'] or '')} ",
        "size": row["nominal_size"],
        "short_m": row["short_m"],
        "long_m": row["long_m"],
        "depth_m": row["depth_m"],
        "sort": f"{row[site + 'name']}\x1f{row['name']}",
    }
