"""What wants looking at, for programs: findings, what was seen at homes, entries of phones, whom to ring."""

from datetime import date, datetime
from typing import Any, Literal

from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from ninja import Field, Router, Schema

from equipment.access import signed_in, units_of, visible_sites
from equipment.models import FilterChange, FilterSlot
from equipment.record import undo_change
from schedules import defects, due, entry_judging
from schedules.call_list import Call, calls, write_call
from schedules.finding_words import OnRecord
from schedules.models import Defect, FieldEntry
from shared.asked_days import Key
from shared.paging import Page, Paged, page_of

router = Router()


class FindingOut(Schema):
    """What does not fit at a filter, what it does to the date, and what to look at next."""

    filter_slot: str
    site: str
    kind: str
    title: str
    seen: str
    dated: str
    look: str
    on: date | None


class DefectOut(Schema):
    """What was seen at a home and what corrects it; ``licensed``: work for licensed people."""

    id: int
    site: str
    visit: int
    kind: str
    title: str
    correction: str
    licensed: bool
    at_once: bool
    seen_at: datetime
    settled_at: datetime | None
    settled_how: str

    @staticmethod
    def resolve_site(row: Defect) -> str:
        return row.site.name

    @staticmethod
    def resolve_visit(row: Defect) -> int:
        return row.visit_id

    @staticmethod
    def resolve_title(row: Defect) -> str:
        return defects.advice_on(row.kind).title

    @staticmethod
    def resolve_correction(row: Defect) -> str:
        return defects.advice_on(row.kind).correction

    @staticmethod
    def resolve_licensed(row: Defect) -> bool:
        return defects.advice_on(row.kind).licensed

    @staticmethod
    def resolve_at_once(row: Defect) -> bool:
        return defects.advice_on(row.kind).at_once


class SettledIn(Schema):
    """How it was corrected, or why it needs no correction."""

    how: str = Field("", max_length=300)


class EntryOut(Schema):
    """An entry of a phone that could not be written down as it came: what it says, and why it waits."""

    id: int
    kind: str
    visit: int | None
    filter_slot: str | None
    at: datetime
    or_at: datetime | None
    by: str
    state: str
    why: str
    says: list[tuple[str, str]]


class JudgedIn(Schema):
    """What becomes of it: counted all the same, counted at its other hour, or left as it was written."""

    judged: Literal["count", "count-other-day", "leave"]


class JudgedOut(Schema):
    """What stands of it now, and what could not be taken over."""

    id: int
    judged: str
    left: str


class CallOut(Schema):
    """Somebody to ring, why, about which filters or visit, and how often it was tried."""

    key: str
    site: str
    person: str | None
    phone: str | None
    why: str
    on: date | None
    filter_slots: list[str]
    visit: int | None
    tries: int


class CallIn(Schema):
    """That somebody of the list was rung."""

    key: str = Field(max_length=40)
    reached: bool
    note: str = Field("", max_length=300)


class TakenBackOut(Schema):
    """A change that was told by mistake, and when it was taken back."""

    id: int
    filter_slot: str
    changed_on: date
    undone_at: datetime | None

    @staticmethod
    def resolve_filter_slot(row: FilterChange) -> str:
        return row.slot.name


@router.get("/findings", url_name="api-findings", response=Page[FindingOut], tags=["looking at"])
def findings(request: HttpRequest, paged: Paged, kind: str = "", site: str = "") -> Any:
    """What does not fit on record, filters that concern most first; each ends once its cause is put right."""
    told = OnRecord(kind, units_of(signed_in(request)))
    rows = [
        FindingOut(
            filter_slot=slot.name, site=slot.system.site.name, kind=said.kind, title=said.title,
            seen=said.seen, dated=said.dated, look=said.look, on=said.on,
        )
        for slot, every in told[:]
        for said in every
        if not site or slot.system.site.name == site
    ]  # fmt: skip
    return page_of(rows, paged)


@router.get("/defects", url_name="api-defects", response=Page[DefectOut], tags=["looking at"])
def list_defects(request: HttpRequest, paged: Paged, site: str = "", kind: str = "") -> Any:
    """What is not right at homes and not settled, the most pressing first."""
    rows = defects.standing()
    rows = rows.filter(site__name=site) if site else rows
    return page_of(rows.filter(kind=kind) if kind else rows, paged)


@router.post("/defects/{pk}/settled", url_name="api-defect-settled", response=DefectOut, tags=["looking at"])
def settle(request: HttpRequest, pk: Key, told: SettledIn) -> Any:
    """It is corrected, or needs no correction; told again, the first time stands."""
    row = get_object_or_404(Defect, pk=pk)
    defects.settle(row, told.how, signed_in(request), timezone.now())
    return Defect.objects.select_related("site").get(pk=pk)


@router.get("/entries", url_name="api-entries", response=Page[EntryOut], tags=["looking at"])
def entries(request: HttpRequest, paged: Paged) -> Any:
    """Entries of phones that nobody has judged, the oldest first."""
    page = page_of(entry_judging.waiting(), paged)
    told = entry_judging.in_words(page["rows"], units_of(signed_in(request)))
    return {**page, "rows": [_entry(row, words) for row, words in told]}


def _entry(row: FieldEntry, words: list[tuple[str, Any]]) -> EntryOut:
    return EntryOut(
        id=row.pk, kind=row.kind, visit=row.visit_id, filter_slot=row.slot.name if row.slot else None,
        at=row.at, or_at=row.other_at, by=row.user.get_full_name() or row.user.username, state=row.state,
        why=row.why, says=[(str(label), str(text)) for label, text in words],
    )  # fmt: skip


@router.post("/entries/{pk}/judged", url_name="api-entry-judged", response=JudgedOut, tags=["looking at"])
def judge(request: HttpRequest, pk: Key, told: JudgedIn) -> Any:
    """Count an entry all the same, or leave it aside; only the first judgement stands."""
    row, user, now, left = get_object_or_404(FieldEntry, pk=pk), signed_in(request), timezone.now(), ""
    if told.judged == "leave":
        entry_judging.leave(row, user, now)
    else:
        other = told.judged == "count-other-day"
        left = entry_judging.count(row, user, now, units_of(user), other_day=other)
    row.refresh_from_db(fields=["judged"])
    return JudgedOut(id=row.pk, judged=row.judged, left=left)


@router.get("/calls", url_name="api-calls", response=Page[CallOut], tags=["letters"])
def call_list(request: HttpRequest, paged: Paged, site: str = "") -> Any:
    """Homes to ring, each with the reason, the most urgent first."""
    rows = [_call(one) for one in calls(timezone.now()) if not site or one.site.name == site]
    return page_of(rows, paged)


def _call(one: Call) -> CallOut:
    return CallOut(
        key=one.key, site=one.site.name, person=one.person.name if one.person else None,
        phone=one.person.phone if one.person else None, why=one.why, on=one.on,
        filter_slots=[slot.name for slot in one.slots], visit=one.visit.pk if one.visit else None,
        tries=len(one.tries),
    )  # fmt: skip


@router.post("/calls", url_name="api-calls", response=CallOut, tags=["letters"])
def rang(request: HttpRequest, told: CallIn) -> Any:
    """Write down that somebody was rung, and whether they were reached."""
    return _call(write_call(told.key, told.reached, told.note.strip(), signed_in(request), timezone.now()))


@router.post(
    "/changes/{pk}/taken-back", url_name="api-change-taken-back", response=TakenBackOut, tags=["dates"]
)
def take_back(request: HttpRequest, pk: Key) -> Any:
    """Take one's own last change back within a week; the old date stands again."""
    seen = visible_sites(signed_in(request))
    rows = FilterChange.objects.filter(slot__system__site__in=seen).select_related("slot__system__site")
    row, now = rows.filter(pk=pk).first(), timezone.now()
    if row is None:
        raise Http404
    undo_change(row, now)
    due.replan(now, FilterSlot.objects.filter(system__site=row.slot.system.site_id))
    return row
