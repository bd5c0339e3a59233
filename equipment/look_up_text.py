"""How the look-up writes and reads words: no case, no accents, no punctuation."""

import re
import unicodedata
from itertools import pairwise

# Letters that Unicode does not take apart into a plain one and a mark.
_PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"})
_SHORT_FORMS = {
    "st": "street", "rd": "road", "ave": "avenue", "dr": "drive", "ln": "lane", "ct": "court",
    "blvd": "boulevard", "pl": "place", "hwy": "highway", "pkwy": "parkway", "cir": "circle",
    "n": "north", "s": "south", "e": "east", "w": "west", "apt": "apartment",
}  # fmt: skip
_LONG_FORMS = {long: short for short, long in _SHORT_FORMS.items()}
MOST_WORDS = 8
LEAST_DIGITS = 5


def fold(text: str) -> str:
    """Lower case without accents, words of letters and digits apart by one blank: ``O'Muñoz, 4`` is
    ``omunoz 4``."""
    taken_apart = unicodedata.normalize("NFKD", text.casefold()).translate(_PLAIN)
    kept = (mark for mark in taken_apart if not unicodedata.combining(mark) and mark not in "'’ʼ`´")
    return " ".join("".join(mark if mark.isalnum() else " " for mark in kept).split())


def words_of(typed: str) -> list[str]:
    """What was typed, folded, one item a word; ``oak-7`` stays one item, ``oak 7``."""
    found = (fold(word) for word in re.split(r"[\s,;]+", typed))
    return [word for word in found if word][:MOST_WORDS]


def digits_of(typed: str) -> str:
    """The digits of what looks like a phone number, without a country's leading 1, of eleven or
    behind a plus; else nothing."""
    if not re.fullmatch(r"[\d\s().+/-]+", typed):
        return ""
    digits = re.sub(r"\D", "", typed)
    if typed.strip().startswith("+1"):
        digits = digits[1:]
    if len(digits) == 11 and digits.startswith("1"):
        return digits[1:]
    return digits if len(digits) >= LEAST_DIGITS else ""


def spellings(word: str) -> list[str]:
    """The word, and its other form where it is part of an address: ``st`` and ``street``."""
    other = _SHORT_FORMS.get(word) or _LONG_FORMS.get(word)
    return [word, other] if other else [word]


def trigrams(word: str) -> set[str]:
    """The threes of letters, with two blanks before the word and one behind."""
    padded = f"  {word} "
    return {padded[at : at + 3] for at in range(len(padded) - 2)}


def slips_allowed(word: str) -> int:
    """How many slips of the hand a word of this length may hold."""
    return 0 if len(word) < 4 else 1 if len(word) < 6 else 2


def slips(typed: str, meant: str) -> int:
    """The least number of letters left out, put in, struck wrongly or swapped with their neighbour."""
    before: list[int] = []
    row = list(range(len(meant) + 1))
    for at, letter in enumerate(typed, 1):
        earlier, before, row = before, row, [at]
        for to, other in enumerate(meant, 1):
            cost = min(before[to] + 1, row[to - 1] + 1, before[to - 1] + (letter != other))
            if at > 1 and to > 1 and letter == meant[to - 2] and typed[at - 2] == other:
                cost = min(cost, earlier[to - 2] + 1)
            row.append(cost)
    return row[-1]


def swaps(word: str) -> set[str]:
    """The word with each two neighbours swapped: a slip that leaves a short word no trigram of its own."""
    return {word[:at] + b + a + word[at + 2 :] for at, (a, b) in enumerate(pairwise(word))}
