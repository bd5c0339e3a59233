"""Questions to the look-up's tables: SQLite's FTS5 with trigrams, PostgreSQL's pg_trgm."""

from collections.abc import Iterable
from typing import Any, NamedTuple

from django.db import connection, transaction

from equipment.look_up_tables import TEXT, WORD
from equipment.look_up_text import slips, slips_allowed, swaps, trigrams

# Beyond so many answers the question is too wide for an order among them to matter.
MOST = 1000
_NEAREST = 6


class Needle(NamedTuple):
    """A text of at least three characters that stands in ``column``: body, phones or media."""

    column: str
    text: str


class Row(NamedTuple):
    """A slot that answers, with the folded words of its place and of all of it."""

    slot: int
    place: str
    body: str
    sort: str


def find(wanted: list[list[Needle]]) -> list[Row]:
    """Slots in which one needle of every list stands, at most ``MOST``; none where nothing is wanted."""
    if not wanted or not all(wanted):
        return []
    ask = _on_postgresql if connection.vendor == "postgresql" else _on_sqlite
    where, values = ask(wanted)
    return [Row(*row) for row in _rows(f"SELECT slot_id, place, body, sort FROM {TEXT} {where}", values)]  # noqa: S608


def _rows(sql: str, values: Iterable[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, list(values))
        return list(cursor.fetchall())


def _on_sqlite(wanted: list[list[Needle]]) -> tuple[str, list[Any]]:
    asked = " AND ".join("(" + " OR ".join(_quoted(needle) for needle in some) + ")" for some in wanted)
    fts = f"{TEXT}_fts"
    inside = f"SELECT rowid FROM {fts} WHERE {fts} MATCH %s LIMIT {MOST}"  # noqa: S608
    return f"WHERE slot_id IN ({inside})", [asked]


def _quoted(needle: Needle) -> str:
    """A phrase of FTS5: within quotes only the quote itself has a meaning."""
    return '{} : "{}"'.format(needle.column, needle.text.replace('"', '""'))


def _on_postgresql(wanted: list[list[Needle]]) -> tuple[str, list[Any]]:
    asked = " AND ".join("(" + " OR ".join(f"{one.column} LIKE %s" for one in some) + ")" for some in wanted)
    return f"WHERE {asked} LIMIT {MOST}", [_like(one.text) for some in wanted for one in some]


def _like(text: str) -> str:
    for mark in "\\%_":
        text = text.replace(mark, "\\" + mark)
    return f"%{text}%"


def of_size(label: str, at_most: int) -> list[int]:
    """Slots of a nominal size, by home and code."""
    sql = f"SELECT slot_id FROM {TEXT} WHERE size = %s ORDER BY sort LIMIT {at_most:d}"  # noqa: S608
    return [row[0] for row in _rows(sql, [label])]


def sizes_between(
    short: tuple[float, float], long: tuple[float, float]
) -> list[tuple[str, float, float, float]]:
    """The nominal sizes on record whose sides lie in these ranges, with sides and depth in metres.

    Steps along the index of sizes from one to the next: there are some hundred, however many slots.
    """
    first = f"(SELECT {{}} FROM {TEXT} t WHERE t.size = label.size ORDER BY t.sort LIMIT 1)"  # noqa: S608
    sides = ", ".join(first.format(column) for column in ("short_m", "long_m", "depth_m"))
    sql = (
        f"WITH RECURSIVE label(size) AS (SELECT min(size) FROM {TEXT} UNION ALL SELECT "  # noqa: S608
        f"(SELECT min(t.size) FROM {TEXT} t WHERE t.size > label.size) FROM label WHERE size IS NOT NULL) "
        f"SELECT size, {sides} FROM label WHERE size IS NOT NULL"
    )
    return [
        (label, *measures)
        for label, *measures in _rows(sql, [])
        if short[0] <= measures[0] <= short[1] and long[0] <= measures[1] <= long[1]
    ]


def of_sides(short: tuple[float, float], long: tuple[float, float], at_most: int) -> list[int]:
    """Slots whose sides lie in these ranges in metres, the thinnest first."""
    labels = [label for label, *_sides in sizes_between(short, long)]
    if not labels:
        return []
    of_one = f"SELECT slot_id, depth_m, sort FROM {TEXT} WHERE size = %s ORDER BY sort LIMIT {at_most:d}"  # noqa: S608
    each = " UNION ALL ".join(f"SELECT * FROM ({of_one}) AS s{at:d}" for at in range(len(labels)))  # noqa: S608
    return [row[0] for row in _rows(f"{each} ORDER BY depth_m, sort LIMIT {at_most:d}", labels)]


def near_words(typed: str) -> dict[str, int]:
    """Words on record within a slip or two of what was typed, or that begin so, with their slips; the
    nearest few."""
    allowed = slips_allowed(typed)
    if not allowed:
        return {}
    found = {word: _distance(typed, word) for word in _alike(typed)}
    near = sorted((count, word) for word, count in found.items() if count <= allowed)
    return {word: count for count, word in near[:_NEAREST]}


def _distance(typed: str, word: str) -> int:
    return min(slips(typed, word), slips(typed, word[: len(typed)]) + 1)


def _alike(typed: str) -> set[str]:
    turned = sorted(swaps(typed))
    marks = ", ".join(["%s"] * len(turned))
    rows = _rows(f"SELECT word FROM {WORD} WHERE word IN ({marks})", turned)  # noqa: S608
    return {row[0] for row in rows + _with_trigrams(typed)}


def _with_trigrams(typed: str) -> list[tuple[Any, ...]]:
    if connection.vendor == "postgresql":
        with transaction.atomic():
            _rows("SELECT set_config('pg_trgm.similarity_threshold', '0.2', true)", [])
            order = "ORDER BY similarity(word, %s) DESC LIMIT 200"
            return _rows(f"SELECT word FROM {WORD} WHERE word %% %s {order}", [typed, typed])  # noqa: S608
    fts = f"{WORD}_fts"
    sql = (
        f"SELECT word FROM {fts} JOIN {WORD} ON {WORD}.id = {fts}.rowid "  # noqa: S608
        f"WHERE {fts} MATCH %s ORDER BY {fts}.rank LIMIT 200"
    )
    return _rows(sql, [" OR ".join(f'"{three}"' for three in sorted(trigrams(typed)))])
