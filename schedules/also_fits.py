"""What else would do in a slot: by size and verdict alone, without the forecast of how long it lasts."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Q

from equipment.curves import Medium, with_curves
from equipment.models import FilterSlot, Meanwhile, Media
from equipment.verdict import Answer
from schedules.fit_question import ORDER, SlotAir, judged, slot_air
from schedules.what_fits import GOOD

MOST = 3
# Beyond so many slots the page leaves the others to each filter's own.
MOST_SLOTS = 5
# Drop left for dust over clean drop below which a filter is full within weeks. Our own bound.
LEAST_ROOM = 0.2


@dataclass(frozen=True)
class Shelf:
    """What a few slots may take: by slot id the usual medium and the one that is in for a while, the media of
    their sizes and the usual ones by id, and by slot id its air. Empty for many slots."""

    slots: list[FilterSlot]
    usual: Mapping[int, Media | None]
    for_now: Mapping[int, Meanwhile]
    media: dict[int, Medium]
    air: dict[int, SlotAir]


def shelf_of(
    slots: list[FilterSlot], usual: Mapping[int, Media | None], for_now: Mapping[int, Meanwhile]
) -> Shelf:
    """Read it: two queries, and two a slot."""
    if len(slots) > MOST_SLOTS:
        return Shelf([], usual, for_now, {}, {})
    rows = Media.objects.filter(
        Q(nominal_size__in={slot.nominal_size for slot in slots})
        | Q(pk__in=[one.pk for one in usual.values() if one is not None])
    )
    return Shelf(slots, usual, for_now, with_curves(rows), {slot.pk: slot_air(slot) for slot in slots})


def also_fits(shelf: Shelf) -> dict[int, list[Media]]:
    """By slot id, at most three media that fit beside the usual one and the one that is in for a while, next
    best first: what fits before what fits with care, what is on hand before what is not, the nearest in
    fineness."""
    found: dict[int, list[Media]] = defaultdict(list)
    for slot in shelf.slots:
        now_in, other = shelf.usual.get(slot.pk), shelf.for_now.get(slot.pk)
        known = {now_in.pk if now_in else None, other.media_id if other else None}
        others = [
            one
            for one in shelf.media.values()
            if one.row.nominal_size == slot.nominal_size and one.row.pk not in known
        ]
        answers = [(judged(slot, one, shelf.air[slot.pk]), one.row) for one in others]
        good = [pair for pair in answers if pair[0].verdict in GOOD and _has_room(pair[0])]
        found[slot.pk] = _best([(answer.verdict, one) for answer, one in good], now_in)
    return found


def doubted(shelf: Shelf, units: str) -> dict[int, Answer]:
    """By slot id the verdict on the usual filter where it is to be refused or too little is known."""
    found = {}
    for slot in shelf.slots:
        row = shelf.usual.get(slot.pk)
        if row is not None:
            answer = judged(slot, shelf.media[row.pk], shelf.air[slot.pk], units)
            if answer.verdict not in GOOD:
                found[slot.pk] = answer
    return found


def _has_room(answer: Answer) -> bool:
    """Whether it would not be full within days, as far as that can be told without its forecast."""
    clean, left = answer.clean_drop_pa, answer.drop_left_pa
    return clean is None or left is None or left >= LEAST_ROOM * clean


def _best(judged: Iterable[tuple[str, Media]], usual: Media | None) -> list[Media]:
    def rank(pair: tuple[str, Media]) -> tuple[int, bool, int, str]:
        verdict, one = pair
        return ORDER.index(verdict), not one.on_hand, abs(one.merv - usual.merv) if usual else 0, one.name

    return [one for _verdict, one in sorted(judged, key=rank)[:MOST]]
