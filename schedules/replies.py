"""Answers to invitations, read from a mailbox: noted and shown, and nothing moves by them."""

import hashlib
import mailbox
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import Message
from pathlib import Path
from urllib.parse import unquote

from django.db.models import F
from icalendar import Calendar, Event

from equipment.models import Desk, SiteRole
from schedules.explain import say_day
from schedules.models import CalendarEvent, Reply
from shared import clock

_LONGEST_ID = 255


class NotAReply(Exception):
    """What is wrong with an answer, in words."""


@dataclass(frozen=True)
class Part:
    """A calendar found in a mail, with the id of the innermost mail that holds it."""

    message_id: str
    body: bytes


def read(path: Path, now: datetime) -> list[str]:
    """Note every answer of the mailbox file; a sentence for each message that holds or spoils one.

    Raises OSError and mailbox.Error where the file cannot be read.
    """
    box = mailbox.mbox(path, create=False)
    said, quiet = [], 0
    try:
        for number, key in enumerate(box.keys(), start=1):
            sentences = list(_read_one(number, box.get_bytes(key), now))
            said += sentences
            quiet += not sentences
    finally:
        box.close()
    return [*said, f"{quiet} messages hold no answer to an invitation."] if quiet else said


def counting(visits: Sequence[int]) -> dict[int, Reply]:
    """The answer that counts of each visit: to its present time, the household's before anybody else's."""
    event = "visit__calendar_events"
    rows = Reply.objects.filter(
        visit__in=visits, sequence__gte=F(f"{event}__timed_sequence"), **{f"{event}__site__isnull": False}
    )
    return {row.visit_id: row for row in rows.order_by("known", "sequence", "at", "pk")}


def _read_one(number: int, raw: bytes, now: datetime) -> Iterator[str]:
    try:
        for part in _calendars(message_from_bytes(raw, policy=policy.default), _id_of(raw)):
            yield from _noted(part, now)
    except NotAReply as reason:
        yield f"Message {number} was skipped: {reason}."
    except Exception as error:
        # Mail comes from anybody, and its parsers fail in ways of their own; the next may be whole.
        yield f"Message {number} was skipped: it cannot be read ({type(error).__name__})."


def _calendars(message: "Message", message_id: str) -> Iterator[Part]:
    """Every calendar in the mail and in the mails handed on in it."""
    message_id = " ".join(str(message.get("Message-ID") or message_id).split())[:_LONGEST_ID]
    if message.is_multipart():
        parts = message.get_payload()
        for part in parts if isinstance(parts, list) else []:
            if isinstance(part, Message):
                yield from _calendars(part, message_id)
    elif message.get_content_type() in ("text/calendar", "application/ics"):
        body = message.get_payload(decode=True)
        if isinstance(body, bytes):
            yield Part(message_id, body)


def _id_of(raw: bytes) -> str:
    return f"<{hashlib.sha256(raw).hexdigest()}@without-id>"


def _noted(part: Part, now: datetime) -> Iterator[str]:
    try:
        calendar = Calendar.from_ical(part.body)
    except (ValueError, IndexError, KeyError):
        raise NotAReply("its calendar part is broken") from None
    if str(calendar.get("METHOD", "")).upper() != "REPLY":
        return
    for event in calendar.events:
        yield _note(part.message_id, event, now)


def _note(message_id: str, event: Event, now: datetime) -> str:
    rows = CalendarEvent.objects.select_related("visit__site")
    row = rows.filter(uid=str(event.get("UID", "")), site__isnull=False, visit__isnull=False).first()
    if row is None or row.visit is None:
        raise NotAReply("it answers to no visit on record")
    sender, partstat = _answer(event)
    roles = SiteRole.objects.filter(site=row.visit.site, person__email__iexact=sender, until=None)
    found, new = Reply.objects.get_or_create(
        message_id=message_id,
        visit=row.visit,
        defaults={
            "sender": sender,
            "known": roles.exists(),
            "said": partstat,
            "sequence": _sequence(event),
            "at": _stamp(event, now),
            "read_at": now,
        },
    )
    return _sentence(found, row) + ("" if new else " It was noted before.")


def _answer(event: Event) -> tuple[str, str]:
    """Who answers, and what."""
    attendees = event.get("ATTENDEE", [])
    for attendee in attendees if isinstance(attendees, list) else [attendees]:
        partstat = str(attendee.params.get("PARTSTAT", "")).upper()
        sender = unquote(str(attendee)).strip()
        sender = sender[7:] if sender.lower().startswith("mailto:") else sender
        if partstat in Reply.Said.values and 0 < len(sender) <= 254:
            return sender, partstat
    raise NotAReply("it says neither yes nor no")


def _sequence(event: Event) -> int:
    try:
        return max(int(event.get("SEQUENCE", 0)), 0)
    except (TypeError, ValueError):
        raise NotAReply("its sequence is no number") from None


def _stamp(event: Event, now: datetime) -> datetime:
    """When it was written; no later than now."""
    try:
        at = event.decoded("DTSTAMP")
    except (KeyError, ValueError):
        return now
    if not isinstance(at, datetime):
        return now
    return min(at if at.tzinfo else at.replace(tzinfo=UTC), now)


def _sentence(reply: Reply, row: CalendarEvent) -> str:
    day = say_day(clock.local_day(row.first_at, Desk.the().zone))
    who = reply.sender if reply.known else f"{reply.sender}, whom nobody named there,"
    said = {"ACCEPTED": "accepts", "TENTATIVE": "may accept", "DECLINED": "declines"}[reply.said]
    late = "" if reply.sequence >= row.timed_sequence else " That was another time; it counts no more."
    return f"{who} {said} the visit of {day} to {reply.visit.site}.{late}"
