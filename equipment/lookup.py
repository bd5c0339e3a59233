"""The technician's one box: address, name, phone, slot code, size or medium, as people type them."""

import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from itertools import product
from math import prod

from django.db.models import Case, Q, QuerySet, Value, When

from equipment.look_up_find import Needle, Row, find, near_words, of_sides, of_size
from equipment.look_up_refresh import refresh
from equipment.look_up_text import LEAST_DIGITS, digits_of, fold, spellings, words_of
from equipment.models import FilterSlot
from shared.sizes import NotASize, Size, parse_size

AT_MOST = 50
# Transactions of fresh texts that a search waits for; the worker's sweep writes the rest.
AT_A_SEARCH = 2
MOST_ALIKE = 64
_ALIKE = {"0": "0o", "o": "o0", "1": "1li", "l": "l1i", "i": "i1l"}
_SAME_SIDE_M = 0.0005
Wanted = list[list[Needle]]


def look_up(typed: str, now: datetime) -> QuerySet[FilterSlot]:
    """Slots that answer to what was typed: every word must be found in the slot, its place, its people or
    the medium that is in it now. The first ``AT_MOST`` and one more, which says that there are others.

    A number is a house number, a postcode's beginning or a whole code, and alone also a side of the filter;
    those come first in which the most words stand whole. A slot's own code finds that slot alone. A size
    finds the slots of that nominal size, the sides in any order, and two sides those of every depth; five
    digits or more also find phones. Words of one or two letters are whole words and beginnings.
    """
    refresh(now, AT_A_SEARCH)
    size, face = as_size(typed), as_face(typed)
    if size is not None:
        return _in_order(of_size(size.label, AT_MOST + 1))
    if face is not None:
        short, long = ((side - _SAME_SIDE_M, side + _SAME_SIDE_M) for side in face)
        return _in_order(of_sides(short, long, AT_MOST + 1))
    words = words_of(typed)
    coded = find(_code(typed))
    if coded:
        return _in_order(row.slot for row in coded)
    rows = find([_whole(word) for word in words])
    if len(rows) <= AT_MOST:
        rows += find([_anywhere(word, len(words) == 1) for word in words])
        rows += find([[Needle("phones", digits_of(typed))]] if digits_of(typed) else [])
        rows += find([[Needle("media", f" {word}")] for word in words])
    return _in_order(_ranked(rows, words))


def _look_alikes(typed: str) -> list[str]:
    """Codes that look like what was typed, letters and digits mixed up; none where they would be many."""
    code = fold(typed).replace(" ", "")
    choices = [_ALIKE.get(mark, mark) for mark in code]
    few = 1 < prod(len(some) for some in choices) <= MOST_ALIKE
    return ["".join(marks) for marks in product(*choices)] if few else []


def nearest(typed: str) -> QuerySet[FilterSlot]:
    """Where nothing answers: slots with words within a slip or two of those typed, the fewest slips first;
    then without the numbers, then without one of the words. None for a size or a phone number."""
    if as_size(typed) is not None or as_face(typed) is not None:
        return _in_order([])
    alike = find([[Needle("body", f"@{code}@") for code in _look_alikes(typed)]])
    if alike:
        return _in_order(row.slot for row in alike)
    words = [part for word in words_of(typed) for part in word.split()]
    known: dict[str, dict[str, int]] = {word: _meant(word) for word in words if not word.isdigit()}
    for some in _narrowed(words):
        wanted: Wanted = [_near(word, known) for word in some]
        rows = find(wanted)
        if rows:
            return _in_order(_by_slips(rows, some, known))
    return _in_order([])


def as_size(typed: str) -> Size | None:
    """The filter size that was typed, if it was one: also ``20 20 1``, ``16/25/1`` and the letter O for 0."""
    for spelling in (typed, _as_triple(typed)):
        with suppress(NotASize):
            return parse_size(spelling)
    return None


def _as_triple(typed: str) -> str:
    """Three numbers parted by anything, with letters that were taken for digits, as a size is written."""
    plain = re.sub(r"(?<=[\dxX×\s/*])[oO](?=[\dxX×\s/*]|$)|(?<=\d)[oO]", "0", typed.strip())
    numbers = re.fullmatch(r"(\d+(?:\.\d+)?)[\s/x×*]+(\d+(?:\.\d+)?)[\s/x×*]+(\d+(?:\.\d+)?)", plain, re.I)
    return "x".join(numbers.groups()) if numbers else plain


def as_face(typed: str) -> tuple[float, float] | None:
    """Short and long side in metres where two sides were typed and no depth."""
    # Any depth serves to read the two sides: an inch, or 25 where they are millimetres.
    for depth in ("x1", "x25"):
        size = as_size(typed + depth)
        if size is not None:
            return size.short_m, size.long_m
    return None


def of_face(face: tuple[float, float]) -> Q:
    """Slots or media with these two sides, to within half a millimetre, whatever their depth."""
    short, long = face
    return Q(
        short_m__range=(short - _SAME_SIDE_M, short + _SAME_SIDE_M),
        long_m__range=(long - _SAME_SIDE_M, long + _SAME_SIDE_M),
    )


def _in_order(slots: Iterable[int]) -> QuerySet[FilterSlot]:
    ids = list(dict.fromkeys(slots))[: AT_MOST + 1]
    found = FilterSlot.objects.in_use().filter(pk__in=ids)
    if not ids:
        return found.none()
    return found.order_by(Case(*(When(pk=pk, then=Value(at)) for at, pk in enumerate(ids))))


def _code(typed: str) -> Wanted:
    code = fold(typed)
    return [[Needle("body", f"@{one}@") for one in {code, code.replace(" ", "")}]] if code else []


def _whole(word: str) -> list[Needle]:
    return [Needle("body", f" {one} ") for one in spellings(word)]


def _anywhere(word: str, alone: bool) -> list[Needle]:
    if word.isdigit():
        return _number(word, alone)
    found = _whole(word)
    for one in spellings(word):
        # Two letters make a trigram with the blank or the mark before them, and one letter none.
        starts = {1: (), 2: (f" {one}", f"@{one}", f"&{one}", f"~{one}")}.get(len(one), (one,))
        found += [Needle("body", start) for start in starts]
        found += [Needle("media", start.replace("@", " ")) for start in starts[:1]]
    return found


def _number(word: str, alone: bool) -> list[Needle]:
    """A number as a whole: of house or place, a code, the beginning of a postcode, a phone, a side."""
    marked = [f"@{word}@", f"&{word}&", *([f"~{word}"] if len(word) > 1 else [])]
    found = [Needle("body", one) for one in (f" {word} ", *marked)]
    if len(word) >= LEAST_DIGITS:
        found.append(Needle("phones", word))
    if alone:
        found.append(Needle("body", f"!{word}!"))
    return found


def _ranked(rows: list[Row], words: list[str]) -> list[int]:
    def whole(row: Row) -> int:
        return sum(any(f" {one} " in row.place for one in spellings(word)) for word in words)

    return [row.slot for row in sorted(set(rows), key=lambda row: (-whole(row), row.sort))]


def _meant(word: str) -> dict[str, int]:
    """What the word may have been meant to be, with the slips that takes; itself where it is on record."""
    itself = find([_anywhere(word, False)])
    return ({word: 0} if itself else {}) | near_words(word)


def _near(word: str, known: dict[str, dict[str, int]]) -> list[Needle]:
    if word.isdigit():
        return _number(word, False)
    return [needle for one in known[word] for needle in _anywhere(one, False)]


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
