"""Tags for the grilles: codes that people can read, and the sheet that they are printed on."""

import secrets
from collections.abc import Iterable
from datetime import date, datetime

from django.db import IntegrityError, transaction

from equipment.models import FilterSlot, User
from schedules.addresses import absolute
from schedules.cards import code_of
from schedules.models import Tag, Visit, VisitJob

# Neither I nor L, O nor U: nothing that reads like another sign or makes a word (Crockford's base 32).
SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 8
_READ_AS = str.maketrans({"I": "1", "L": "1", "O": "0", "U": "V"})


def as_code(typed: str) -> str:
    """The code as it is stored, from what somebody read off a tag; empty for what is none."""
    signs = "".join(sign for sign in typed.upper() if sign.isalnum()).translate(_READ_AS)
    return signs if len(signs) == LENGTH and set(signs) <= set(SIGNS) else ""


def shown(code: str) -> str:
    """In two groups, as it is printed."""
    return f"{code[: LENGTH // 2]}-{code[LENGTH // 2 :]}"


def tag_of(slot: FilterSlot, now: datetime) -> Tag:
    """The slot's tag, made when it is first asked for."""
    for _try in range(5):
        standing = Tag.objects.filter(slot=slot, withdrawn_at=None).first()
        if standing is not None:
            return standing
        try:
            with transaction.atomic():
                return Tag.objects.create(slot=slot, code=_new_code(), made_at=now)
        except IntegrityError:
            # Somebody was first, or the code is taken: one in 10^12.
            continue
    raise RuntimeError("no code was free")


def withdraw(slots: Iterable[FilterSlot], now: datetime) -> int:
    """Let the slots' tags lead nowhere; how many did."""
    return Tag.objects.filter(slot__in=list(slots), withdrawn_at=None).update(withdrawn_at=now)


def found(typed: str) -> Tag | None:
    """The tag of a code, withdrawn or not; None for a code that was never printed."""
    code = as_code(typed)
    return (
        Tag.objects.select_related("slot__system__site__customer").filter(code=code).first() if code else None
    )


def open_visit_at(slot: FilterSlot, user: User, day: date) -> Visit | None:
    """The technician's own visit of that day that is still to be done at the slot."""
    rows = Visit.objects.filter(technician__user=user, day=day, state__in=Visit.OPEN, jobs__slot=slot)
    return rows.order_by("stop_number", "pk").first()


def at_visits(visits: Iterable[int]) -> list[tuple[str, int, int, bool]]:
    """(code, slot, visit, whether it is still to be done) for every standing tag at a slot of the visits."""
    jobs = VisitJob.objects.filter(visit__in=list(visits), slot__isnull=False)
    rows = list(jobs.order_by("visit__stop_number", "visit").values_list("slot", "visit", "visit__state"))
    standing = Tag.objects.filter(withdrawn_at=None, slot__in=[slot for slot, _visit, _state in rows])
    codes = dict(standing.values_list("slot", "code"))
    return [(codes[slot], slot, visit, state in Visit.OPEN) for slot, visit, state in rows if slot in codes]


def qr_of(tag: Tag) -> str:
    """The code as SVG text, leading to the tag's page."""
    return code_of(absolute("tag", shown(tag.code)))


def _new_code() -> str:
    return "".join(secrets.choice(SIGNS) for _ in range(LENGTH))
