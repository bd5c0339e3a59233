"""What else would do in a slot: by size and verdict alone, without the forecast of how long it lasts."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from equipment.curves import media_with_curves
from equipment.meanwhile import for_now
from equipment.models import FilterSlot, Meanwhile, Media
from equipment.verdict import Answer
from schedules.fit_question import ORDER, judged, slot_air
from schedules.what_fits import GOOD

MOST = 3
# Beyond so many slots the page leaves the others to each filter's own.
MOST_SLOTS = 5
# Drop left for dust over clean drop below which a filter is full within weeks. Our own bound.
LEAST_ROOM = 0.2


def also_fits(
    slots: list[FilterSlot], usual: dict[int, Media | None], now: datetime
) -> dict[int, list[Media]]:
    """By slot id, at most three media that fit beside the usual one and the one that is in for a while, next
    best first: what fits before what fits with care, what is on hand before what is not, the nearest in
    fineness. Nothing for many slots."""
    found: dict[int, list[Media]] = defaultdict(list)
    if len(slots) > MOST_SLOTS:
        return found
    ids = Media.objects.filter(nominal_size__in={slot.nominal_size for slot in slots}).values_list(
        "pk", flat=True
    )
    media = media_with_curves(ids).values()
    meanwhile = for_now(slots, now)
    for slot in slots:
        known = {now_in.pk for now_in in (usual.get(slot.pk), _of(meanwhile.get(slot.pk))) if now_in}
        now_in = usual.get(slot.pk)
        air = slot_air(slot)
        others = [
            one for one in media if one.row.nominal_size == slot.nominal_size and one.row.pk not in known
        ]
        answers = [(judged(slot, one, air), one.row) for one in others]
        good = [pair for pair in answers if pair[0].verdict in GOOD and _has_room(pair[0])]
        found[slot.pk] = _best([(answer.verdict, one) for answer, one in good], now_in)
    return found


def doubted(slots: list[FilterSlot], usual: dict[int, Media | None], units: str) -> dict[int, Answer]:
    """By slot id the verdict on the usual filter where it is to be refused or too little is known. Nothing
    for many slots."""
    if len(slots) > MOST_SLOTS:
        return {}
    media = media_with_curves(one.pk for one in usual.values() if one is not None)
    found = {}
    for slot in slots:
        row = usual.get(slot.pk)
        if row is not None:
            answer = judged(slot, media[row.pk], slot_air(slot), units)
            if answer.verdict not in GOOD:
                found[slot.pk] = answer
    return found


def _of(row: Meanwhile | None) -> Media | None:
    return row.media if row is not None else None


def _has_room(answer: Answer) -> bool:
    """Whether it would not be full within days, as far as that can be told without its forecast."""
    clean, left = answer.clean_drop_pa, answer.drop_left_pa
    return clean is None or left is None or left >= LEAST_ROOM * clean


def _best(judged: Iterable[tuple[str, Media]], usual: Media | None) -> list[Media]:
    def rank(pair: tuple[str, Media]) -> tuple[int, bool, int, str]:
        verdict, one = pair
        return ORDER.index(verdict), not one.on_hand, abs(one.merv - usual.merv) if usual else 0, one.name

    return [one for _verdict, one in sorted(judged, key=rank)[:MOST]]
