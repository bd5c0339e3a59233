"""What households answer to a letter other than "changed": not yet, another size, out of reach."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from equipment.fitted import life_keys
from equipment.models import Desk, FilterSlot, Person, SiteRole
from schedules.models import Answer, Notice, NoticeSlot
from shared import clock
from shared.sizes import NotASize, parse_size

# For so many days at most a household may put a filter off.
LONGEST_DAYS = 60


class NotAnswerable(ValueError):
    """The answer cannot be taken; the message says so in plain words."""


class Answered:
    """The answers that stand for the filters now in some slots; two queries."""

    def __init__(self, slots: Iterable[int], now: datetime) -> None:
        slots = set(slots)
        lives = life_keys(slots, now)
        rows = Answer.objects.filter(slot__in=slots, settled_at=None).select_related("slot__system__site")
        # Whoever has moved in answered nothing.
        lives_there = SiteRole.objects.filter(site=OuterRef("site"), person=OuterRef("person"), until=None)
        rows = rows.filter(Q(person=None) | Exists(lives_there))
        self.rows = [row for row in rows.order_by("at", "pk") if row.life == lives[row.slot_id]]
        self._last = {row.slot_id: row for row in self.rows}

    @property
    def last(self) -> list[Answer]:
        """The last answer about each filter, which is the one that holds."""
        return list(self._last.values())

    def settles(self, slot: FilterSlot, now: datetime) -> bool:
        """Whether no letter is due for the filter: it is put off to a day to come, or waits for a call."""
        row = self._last.get(slot.pk)
        if row is None:
            return False
        if row.kind != Answer.Kind.NOT_YET or row.until is None:
            return True
        return row.until > clock.local_day(now, slot.system.site.zone(Desk.the().timezone))

    def put_off_to(self, slot: FilterSlot) -> date | None:
        """The day to which the filter was last put off; None for none."""
        row = self._last.get(slot.pk)
        return row.until if row is not None and row.kind == Answer.Kind.NOT_YET else None

    def asks_again(self, slot: FilterSlot, now: datetime) -> bool:
        """Whether the filter was put off to a day that has come."""
        row = self._last.get(slot.pk)
        return row is not None and row.kind == Answer.Kind.NOT_YET and not self.settles(slot, now)


def put_off(slot: FilterSlot, person: Person | None, until: date, now: datetime) -> Answer:
    """Not yet: no letter about it before ``until``. Raises NotAnswerable for a day past or too far off."""
    today = clock.local_day(now, slot.system.site.zone(Desk.the().timezone))
    if not today < until <= today + timedelta(days=LONGEST_DAYS):
        raise NotAnswerable(
            _("Choose a day from tomorrow on, and at most %(n)d days from now.") % {"n": LONGEST_DAYS}
        )
    answer = _keep(slot, person, Answer.Kind.NOT_YET, now, until=until)
    # Whoever asks to be reminded is, though the one follow-up was sent before.
    told = NoticeSlot.objects.filter(slot=slot, life=answer.life, kind=Notice.Kind.FOLLOW_UP, person=person)
    told.filter(notice__state=Notice.State.SENT).update(void=True)
    return answer


def of_another_size(slot: FilterSlot, person: Person | None, text: str, now: datetime) -> Answer:
    """The filter there is of another size than on record: ``text``. Raises NotAnswerable without one."""
    words = " ".join(text.replace("\0", "").split())[:200]
    if not words:
        raise NotAnswerable(_("Write the size that is printed on the filter's frame."))
    if _size_in(words) == slot.nominal_size:
        raise NotAnswerable(_("That is the size we have on record too. Ring us if it does not fit."))
    return _keep(slot, person, Answer.Kind.WRONG_SIZE, now, text=words)


def out_of_reach(slot: FilterSlot, person: Person | None, now: datetime) -> Answer:
    """They cannot get to the filter."""
    return _keep(slot, person, Answer.Kind.OUT_OF_REACH, now)


def settle(answer: Answer, now: datetime) -> None:
    """Somebody has seen to it."""
    Answer.objects.filter(pk=answer.pk, settled_at=None).update(settled_at=now)


def size_told(answer: Answer) -> str:
    """The size in their words as it is sold, where it is one; else their words."""
    return _size_in(answer.text) or answer.text


def _size_in(words: str) -> str:
    try:
        return parse_size(words).label
    except NotASize:
        return ""


def _keep(
    slot: FilterSlot,
    person: Person | None,
    kind: str,
    now: datetime,
    *,
    until: date | None = None,
    text: str = "",
) -> Answer:
    life = life_keys([slot.pk], now)[slot.pk]
    told = {"person": person, "until": until, "text": text, "at": now}
    # Said twice, it stands once.
    same = Answer.objects.filter(slot=slot, kind=kind, life=life, settled_at=None).order_by("pk").first()
    if same is None:
        return Answer.objects.create(site=slot.system.site, slot=slot, kind=kind, life=life, **told)
    for name, value in told.items():
        setattr(same, name, value)
    same.save()
    return same
