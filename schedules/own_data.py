"""Everything on record about one person, as plain values to be handed out."""

from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from equipment.models import FilterChange, FilterSlot, Person, Reading
from schedules.models import Answer, Notice, Reply, Rung, Visit, Wish
from schedules.reach import CONSENT


def of(person: Person, now: datetime) -> dict[str, Any]:
    """Name, consent, homes with filters, changes, readings and visits, letters, calls, replies and answers;
    hours in UTC."""
    sites = [role.site_id for role in person.roles.filter(until=None)]
    return {
        "as_of": now.isoformat(),
        "person": _person(person),
        "homes": [
            {
                "home": role.site.name,
                "address": role.site.address,
                "role": role.role,
                "until": _day(role.until),
            }
            for role in person.roles.select_related("site").order_by("pk")
        ],
        "filters": [
            _filter(slot) for slot in FilterSlot.objects.filter(system__site__in=sites).order_by("pk")
        ],
        "visits": [
            {
                "day": _day(visit.day),
                "state": visit.state,
                "home": visit.site.name,
                "wanted": visit.wanted,
                "findings": visit.findings,
                "note": visit.note,
                "completed_at": _at(visit.completed_at),
            }
            for visit in Visit.objects.filter(site__in=sites).select_related("site").order_by("pk")
        ],
        "letters": [
            {
                "kind": row.kind,
                "channel": row.channel,
                "to": row.sent_to,
                "sent_at": _at(row.sent_at),
                "subject": row.subject,
                "text": row.text,
            }
            for row in Notice.objects.filter(person=person).exclude(kind=Notice.Kind.SIGN_IN).order_by("pk")
        ],
        "wishes": [
            {
                "at": _at(row.at),
                "about": row.subject,
                "wanted": row.wanted,
                "how": row.how,
                "words": row.wording,
            }
            for row in Wish.objects.filter(person=person).order_by("at", "pk")
        ],
        "calls": [
            {
                "at": _at(row.at),
                "home": row.site.name,
                "why": row.why,
                "answered": row.reached,
                "note": row.note,
            }
            for row in _calls(person, sites)
        ],
        "replies": [
            {"at": _at(row.at), "from": row.sender, "said": row.said, "visit": _day(row.visit.day)}
            for row in _replies(person)
        ],
        "answers": [
            {"at": _at(row.at), "kind": row.kind, "text": row.text}
            for row in Answer.objects.filter(person=person).order_by("pk")
        ],
    }


def _calls(person: Person, sites: list[int]) -> QuerySet[Rung]:
    """Those that were for them, and those to homes of theirs that were for nobody named."""
    theirs = Q(person=person) | Q(person=None, site__in=sites)
    return Rung.objects.filter(theirs).select_related("site").order_by("at", "pk")


def _replies(person: Person) -> QuerySet[Reply]:
    if not person.email:
        return Reply.objects.none()
    rows = Reply.objects.filter(sender__iexact=person.email)
    return rows.select_related("visit").order_by("at", "pk")


def _person(person: Person) -> dict[str, Any]:
    wants = {subject: getattr(person, name) for subject, name in CONSENT.items()}
    return {
        "name": person.name,
        "mail": person.email,
        "phone": person.phone,
        "language": person.language,
        "wants_letters_about": wants,
        "agreed_to_text_messages_at": _at(person.text_consent_at),
        "agreed_how": person.text_consent_how,
        "stopped_text_messages_at": _at(person.text_stopped_at),
    }


def _filter(slot: FilterSlot) -> dict[str, Any]:
    changes = FilterChange.objects.filter(slot=slot).order_by("changed_at")
    readings = Reading.objects.filter(slot=slot).order_by("taken_at")
    return {
        "code": slot.name,
        "size": slot.nominal_size,
        "place": slot.location,
        "changed_on": [
            {"day": _day(one.changed_on), "told_by": one.told, "taken_back": _at(one.undone_at)}
            for one in changes
        ],
        "readings": [{"at": _at(one.taken_at), "filter_drop_pa": one.filter_drop_pa} for one in readings],
    }


def _day(day: Any) -> str | None:
    return day.isoformat() if day else None


def _at(at: datetime | None) -> str | None:
    return at.isoformat() if at else None
