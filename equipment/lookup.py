"""The technician's one box: address, name, phone, slot code, size or medium, as people type them."""

import re
from collections.abc import Iterable
from datetime import datetime
from itertools import product
from math import prod

from django.db.models import CharField, QuerySet, Value
from django.db.models.functions import Cast, Concat, StrIndex

from equipment.look_up_find import Needle, Row, find, near_words
from equipment.look_up_refresh import refresh
from equipment.look_up_sizes import as_sides, near_sides, sides_among, with_sides
from equipment.look_up_text import LEAST_DIGITS, digits_of, fold, spellings, words_of
from equipment.models import FilterSlot, Media

AT_MOST = 50
# Transactions of fresh texts that a search waits for; the worker's sweep writes the rest.
AT_A_SEARCH = 2
MOST_ALIKE = 64
_LAST_DIGITS = 4
LEAST_CODE = 3
_MERV = re.compile(r"\bmerv[\s-]*(\d{1,2})\b", re.IGNORECASE)
_ALIKE = {"0": "0o", "o": "o0", "1": "1li", "l": "l1i", "i": "i1l"}
Wanted = list[list[Needle]]


def look_up(typed: str, now: datetime, *, phones: bool = True) -> QuerySet[FilterSlot]:
    """Slots that answer to what was typed: every word must be found in the slot, its place, its people or
    the medium that is in it now. The first ``AT_MOST`` and one more, which says that there are others.

    A number is a house number, a postcode's beginning or a whole code, and alone also a side of the filter;
    those come first in which the most words stand whole. A slot's own code finds that slot alone. A size
    finds the slots of that nominal size, the sides in any order, with other words those of them that answer
    to these too, and two sides those of every depth; five
    digits or more also find phones, four alone the ends of phones. ``MERV 13``, alone or with anything else,
    finds where a medium of that rating is in. Words of one or two letters are whole words and beginnings.
    Without ``phones`` telephones are not looked at.
    """
    refresh(now, AT_A_SEARCH)
    merv, rest = as_merv(typed)
    rated = [] if merv is None else [_rated(merv)]
    sides = as_sides(rest)
    if sides is not None:
        among = [row.slot for row in find(rated)] if rated else None
        return _in_order(with_sides(sides, AT_MOST + 1, among))
    sides, rest = sides_among(rest)
    words = words_of(rest)
    if sides is not None:
        rows = find([*(_anywhere(word, False, phones) for word in words), *rated])
        rows += find([*([Needle("media", f" {word}")] for word in words), *rated])
        rows = rows or find([*_run_together(rest), *rated])
        return _in_order(with_sides(sides, AT_MOST + 1, [row.slot for row in rows]))
    coded = find(_code(typed))
    if coded:
        return _in_order(row.slot for row in coded)
    rows = find([*(_whole(word) for word in words), *rated])
    if len(rows) <= AT_MOST and words:
        rows += find([*(_anywhere(word, len(words) == 1, phones) for word in words), *rated])
        rows += find([[Needle("phones", digits_of(rest))], *rated] if phones and digits_of(rest) else [])
        rows += find([*([Needle("media", f" {word}")] for word in words), *rated])
    if not rows:
        rows = find([*_run_together(rest), *rated])
    return _in_order(_ranked(rows, words))


def as_merv(typed: str) -> tuple[int | None, str]:
    """The MERV that was typed, if one was, and the rest."""
    found = _MERV.search(typed)
    if found is None:
        return None, typed
    return int(found[1]), (typed[: found.start()] + " " + typed[found.end() :]).strip()


def _rated(merv: int) -> list[Needle]:
    """Any medium of that rating; what nobody is called where there is none."""
    names = Media.objects.filter(merv=merv).order_by("name").values_list("name", flat=True)[:MOST_ALIKE]
    return [Needle("media", f" {fold(name)} ") for name in names] or [Needle("media", "\x1f no medium")]


def _look_alikes(typed: str) -> list[str]:
    """Codes that look like what was typed, letters and digits mixed up; none where they would be many."""
    code = fold(typed).replace(" ", "")
    choices = [_ALIKE.get(mark, mark) for mark in code]
    few = 1 < prod(len(some) for some in choices) <= MOST_ALIKE
    return ["".join(marks) for marks in product(*choices)] if few else []


def nearest(typed: str, *, phones: bool = True) -> QuerySet[FilterSlot]:
    """Where nothing answers: slots with words within a slip or two of those typed, the fewest slips first;
    then without the numbers, then without one of the words. For a size those whose nominal size it would
    be if a frame had been measured, else those of the nearest sides; none for a phone number."""
    typed = as_merv(typed)[1]
    sides = as_sides(typed)
    if sides is not None:
        return _in_order(near_sides(sides, AT_MOST + 1))
    alike = find([[Needle("body", f"@{code}@") for code in _look_alikes(typed)]])
    if alike:
        return _in_order(row.slot for row in alike)
    words = [part for word in words_of(typed) for part in word.split()]
    known: dict[str, dict[str, int]] = {word: _meant(word, phones) for word in words if not word.isdigit()}
    for some in _narrowed(words):
        wanted: Wanted = [_near(word, known, phones) for word in some]
        rows = find(wanted)
        if rows:
            return _in_order(_by_slips(rows, some, known))
    return _in_order([])


def _in_order(slots: Iterable[int]) -> QuerySet[FilterSlot]:
    ids = list(dict.fromkeys(slots))[: AT_MOST + 1]
    found = FilterSlot.objects.in_use().filter(pk__in=ids)
    if not ids:
        return found.none()
    # Where its number stands among all of them: fifty cases one by one take longer to write than to answer.
    among = Value(f" {' '.join(map(str, ids))} ")
    return found.order_by(StrIndex(among, Concat(Value(" "), Cast("pk", CharField()), Value(" "))))


def _code(typed: str) -> Wanted:
    code = fold(typed)
    return [[Needle("body", f"@{one}@") for one in {code, code.replace(" ", "")}]] if code else []


def _run_together(typed: str) -> Wanted:
    """A code's beginning however it is parted, ``kb 02 a``; a medium whose words were not, ``pleat13``."""
    folded = fold(typed)
    code = folded.replace(" ", "")
    mixed = any(mark.isdigit() for mark in code) and any(mark.isalpha() for mark in code)
    if not mixed or len(code) < LEAST_CODE:
        return []
    parted = re.sub(r"(?<=[^\W\d])(?=\d)", " ", folded)
    return [[Needle("body", f"@{code}"), Needle("media", f" {parted}")]]


def _whole(word: str) -> list[Needle]:
    return [Needle("body", f" {one} ") for one in spellings(word)]


def _anywhere(word: str, alone: bool, phones: bool) -> list[Needle]:
    if word.isdigit():
        return _number(word, alone, phones)
    found = _whole(word)
    for one in spellings(word):
        # Two letters make a trigram with the blank or the mark before them, and one letter none.
        starts = {1: (), 2: (f" {one}", f"@{one}", f"&{one}", f"~{one}")}.get(len(one), (one,))
        found += [Needle("body", start) for start in starts]
        found += [Needle("media", start.replace("@", " ")) for start in starts[:1]]
    return found


def _number(word: str, alone: bool, phones: bool) -> list[Needle]:
    """A number as a whole: of house or place, a code, the beginning of a postcode, a phone, a side."""
    marked = [f"@{word}@", f"&{word}&", *([f"~{word}"] if len(word) > 1 else [])]
    found = [Needle("body", one) for one in (f" {word} ", *marked)]
    if phones and len(word) >= LEAST_DIGITS:
        found.append(Needle("phones", word))
    elif phones and alone and len(word) == _LAST_DIGITS:
        found.append(Needle("phones", f"{word} "))
    if alone:
        found.append(Needle("body", f"!{word}!"))
    return found


def _ranked(rows: list[Row], words: list[str]) -> list[int]:
    def whole(row: Row) -> int:
        return sum(any(f" {one} " in row.place for one in spellings(word)) for word in words)

    return [row.slot for row in sorted(set(rows), key=lambda row: (-whole(row), row.sort))]


def _meant(word: str, phones: bool) -> dict[str, int]:
    """What the word may have been meant to be, with the slips that takes; itself where it is on record."""
    itself = find([_anywhere(word, False, phones)])
    return ({word: 0} if itself else {}) | near_words(word)


def _near(word: str, known: dict[str, dict[str, int]], phones: bool) -> list[Needle]:
    if word.isdigit():
        return _number(word, False, phones)
    return [needle for one in known[word] for needle in _anywhere(one, False, phones)]


def _narrowed(words: list[str]) -> list[list[str]]:
    """The words; those that are no numbers; those without each one of them in turn."""
    plain = [word for word in words if not word.isdigit()]
    fewer = [plain[:at] + plain[at + 1 :] for at in range(len(plain))] if len(plain) > 1 else []
    return [words, plain, *fewer]


def _by_slips(rows: list[Row], words: list[str], known: dict[str, dict[str, int]]) -> list[int]:
    def count(row: Row) -> int:
        plain = [word for word in words if word in known]
        return sum(min((n for one, n in known[word].items() if one in row.body), default=9) for word in plain)

    return [row.slot for row in sorted(rows, key=lambda row: (count(row), row.sort))]
