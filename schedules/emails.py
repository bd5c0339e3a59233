"""Letters: one small function a kind, one builder for all; templates are found by the kind's name."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from email.utils import format_datetime, formataddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils import formats, translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from sesame.utils import get_query_string

from equipment.access import units_of_person
from equipment.languages import language_of
from equipment.meanwhile import for_now, next_media
from equipment.models import Desk, FilterSlot, Meanwhile, Media, Person, User
from schedules import defects, explain, invitations
from schedules.addresses import absolute, host
from schedules.models import Defect, Notice, Policy, Visit
from schedules.open_times import open_times, time_words
from schedules.reach import SUBJECT_OF
from schedules.texts import digits
from schedules.to_speak_of import to_speak_of
from schedules.visit_notices import told_to, was_invited
from schedules.visit_promises import hours_words, promise_of
from shared import clock, signing
from shared.signing import Purpose


@dataclass(frozen=True)
class Letter:
    """A mail ready to be posted."""

    to: str
    subject: str
    text: str
    html: str
    message_id: str
    stop_url: str
    at: datetime
    said: dict[str, Any] = field(default_factory=dict)
    calendar: bytes = b""
    calendar_method: str = "PUBLISH"


@dataclass(frozen=True)
class FilterLine:
    """A filter as a letter shows it."""

    slot: FilterSlot
    media: Media | None
    size: str
    explained: explain.Explained
    due: str
    actual: str = ""
    # What is in there for a while, in a sentence; empty for the usual filter.
    for_now: str = ""
    arranged: Meanwhile | None = None


def letter_for(notice: Notice, now: datetime) -> Letter:
    """The letter of ``notice`` in its reader's language and zone."""
    with translation.override(language_of(notice.person)):
        letter = _BY_KIND[notice.kind](notice, now)
        return _as_text(notice, letter) if notice.channel == Notice.Channel.TEXT else letter


def _as_text(notice: Notice, letter: Letter) -> Letter:
    """The same in a text message's few words, with how to end them."""
    link = answer_url(notice) if notice.kind in (Notice.Kind.FILTERS_DUE, Notice.Kind.FOLLOW_UP) else ""
    said = _("%(desk)s: %(subject)s. %(link)s Reply STOP to end these messages.") % {
        "desk": Desk.the().name, "subject": letter.subject, "link": link,
    }  # fmt: skip
    phone = digits(notice.person.phone) if notice.person else ""
    return replace(letter, to=phone, text=" ".join(said.split()), html="", calendar=b"")


def filter_lines(slots: list[FilterSlot], now: datetime, units: str) -> list[FilterLine]:
    """Each slot with the exact filter that goes in and why now; a fixed number of queries."""
    policy, desk, meanwhile = Policy.the(), Desk.the(), for_now(slots, now)
    media = next_media(slots, now, meanwhile)
    lines = []
    for slot in slots:
        today = clock.local_day(now, slot.system.site.zone(desk.timezone))
        plan = getattr(slot, "plan", None)
        explained = explain.explain(slot, plan, today, policy, units)
        due = explain.say_day(plan.due_on if plan else None)
        medium = media[slot.pk]
        actual = medium.actual_size_in(units) if medium else ""
        arranged = meanwhile.get(slot.pk)
        until = _for_now(arranged)
        lines.append(FilterLine(slot, medium, slot.size_in(units), explained, due, actual, until, arranged))
    return lines


def _for_now(row: Meanwhile | None) -> str:
    if row is None:
        return ""
    said = _("In there until %(day)s: %(name)s, MERV %(merv)s; we look at it by %(look)s.")
    return said % {
        "day": explain.say_day(row.ends_on),
        "name": row.media.name,
        "merv": row.media.merv,
        "look": explain.say_day(row.look_on),
    }


def _filters_due(notice: Notice, now: datetime) -> Letter:
    lines = filter_lines(_soonest_first(_spoken_of(notice, now)), now, units_of_person(notice.person))
    first = min((line.slot.plan.due_on for line in lines if line.slot.plan.due_on), default=None)
    subject = _subject(len(lines), first, _reader_today(notice, now))
    again = set(notice.slots.filter(kind=Notice.Kind.FOLLOW_UP).values_list("slot", flat=True))
    follow_up = any(line.slot.pk in again for line in lines)
    if follow_up:
        subject = _("Still to do: %(subject)s") % {"subject": subject}
    return _build(notice, subject, {"lines": lines, "follow_up": follow_up}, now)


def _soonest_first(slots: list[FilterSlot]) -> list[FilterSlot]:
    return sorted(slots, key=lambda slot: (slot.plan.due_on is None, slot.plan.due_on, slot.name))


def _reader_today(notice: Notice, now: datetime) -> date:
    zone = notice.site.zone(Desk.the().timezone) if notice.site else Desk.the().zone
    return clock.local_day(now, zone)


def _subject(count: int, first: date | None, today: date) -> str:
    """By which day, or since when; the year is named where it is not plain."""
    if first is not None and first < today:
        text = ngettext(
            "Your air filter has been due since %(day)s",
            "Your %(n)d air filters: the first has been due since %(day)s",
            count,
        )
        return text % {"n": count, "day": explain.say_day(first)}
    text = ngettext(
        "Your air filter: change it by %(day)s", "Your %(n)d air filters: change them by %(day)s", count
    )
    said = explain.say_short(first) if first and first.year == today.year else explain.say_day(first)
    return text % {"n": count, "day": said}


def _spoken_of(notice: Notice, now: datetime) -> list[FilterSlot]:
    """What is still to be done by the reader; all of it where nothing is, as in a letter looked at later."""
    rows = notice.slots.select_related("slot__system__site", "slot__plan", "slot__first_media")
    return to_speak_of(notice, now) or [row.slot for row in rows]


def _visit(notice: Notice, now: datetime) -> Letter:
    """Somebody comes, comes at another time, or does not come after all."""
    visit = notice.visit
    if visit is None or notice.site is None:
        raise ValueError("a letter about a visit needs its visit and site")
    stands, told = promise_of(visit), told_to(visit, notice.person)
    tz = notice.site.zone(Desk.the().timezone)
    if not stands.coming:
        subject = _gone_subject(visit) % {"when": hours_words(told or stands, tz)}
    elif told is not None and told.day is not None and told.coming:
        subject = _("Moved: we come %(when)s") % {"when": hours_words(stands, tz)}
    else:
        subject = _("We come %(when)s") % {"when": hours_words(stands, tz)}
    jobs = visit.jobs.select_related("slot__system__site", "task")
    more: dict[str, object] = {
        "visit": visit,
        "coming": stands.coming,
        "displaced": visit.state == Visit.State.DISPLACED,
        "hours_known": stands.first is not None,
        "before": hours_words(told, tz) if told is not None and told.day and told.coming else "",
        "when": hours_words(stands if stands.coming else told or stands, tz),
        "slots": [job.slot for job in jobs if job.slot],
        "tasks": [job.task for job in jobs if job.task],
    }
    letter = _build(notice, subject, more, now)
    file = invitations.file_for(
        invitations.Told(visit, notice.person, stands, told, was_invited(visit, notice.person)), now
    )
    return replace(letter, said=stands.as_json(), calendar=file.body, calendar_method=file.method)


def _gone_subject(visit: Visit) -> str:
    if visit.state == Visit.State.DISPLACED:
        return _("We cannot come %(when)s: another day follows")
    return _("Called off: our visit %(when)s")


def _times(notice: Notice, now: datetime) -> Letter:
    """Somebody could come: the household chooses when."""
    visit = notice.visit
    if visit is None or notice.site is None:
        raise ValueError("a letter that offers times needs its visit and site")
    tz = notice.site.zone(Desk.the().timezone)
    jobs = visit.jobs.select_related("slot__system__site", "task")
    more: dict[str, object] = {
        "times": [(time_words(one, tz), one.technician) for one in open_times(visit, now)],
        "times_url": times_url(visit),
        "slots": [job.slot for job in jobs if job.slot],
        "tasks": [job.task for job in jobs if job.task],
    }
    return _build(notice, _("When may we come to you?"), more, now)


def _done(notice: Notice, now: datetime) -> Letter:
    """What was done at a house, for whoever owns it or pays."""
    visit = notice.visit
    if visit is None or notice.site is None:
        raise ValueError("a letter about what was done needs its visit and site")
    tz = notice.site.zone(Desk.the().timezone)
    jobs = list(visit.jobs.select_related("slot__system__site", "task"))
    more: dict[str, object] = {
        "on": explain.say_day(clock.local_day(visit.completed_at or now, tz)),
        "slots": [job.slot for job in jobs if job.slot and job.done],
        "tasks": [job.task for job in jobs if job.task and job.done],
        "left": [job.slot or job.task for job in jobs if not job.done],
        "findings": visit.findings,
        "advice": [advice for row, advice in defects.of_visit(visit) if row.kind != Defect.Kind.OTHER],
    }
    place = notice.site.address or notice.site.name
    return _build(notice, _("What was done at %(place)s") % {"place": place}, more, now)


def _shut(notice: Notice, now: datetime) -> Letter:
    """We stood at the door, and nobody opened."""
    visit = notice.visit
    if visit is None or notice.site is None:
        raise ValueError("a letter about a shut door needs its visit and site")
    at = (visit.completed_at or now).astimezone(notice.site.zone(Desk.the().timezone))
    jobs = visit.jobs.select_related("slot__system__site", "task")
    more: dict[str, object] = {
        "on": explain.say_day(at.date()),
        "at": formats.date_format(at, "H:i"),
        "who": visit.technician,
        "slots": [job.slot for job in jobs if job.slot],
        "tasks": [job.task for job in jobs if job.task],
    }
    return _build(notice, _("We were at your door on %(day)s") % {"day": more["on"]}, more, now)


def _sign_in(notice: Notice, now: datetime) -> Letter:
    user = account_of(notice.sent_to)
    link = sign_in_url(user) if user else settings.SITE_URL
    return _build(notice, _("Your link to sign in"), {"link": link}, now)


def account_of(email: str) -> User | None:
    """The account that ``email`` signs in to: its own address, else that of the person it belongs to."""
    active = User.objects.filter(is_active=True).order_by("pk")
    return active.filter(email__iexact=email).first() or active.filter(person__email__iexact=email).first()


def sign_in_url(user: User) -> str:
    """A link that signs ``user`` in for a day."""
    return absolute("sign-in-by-link", query=get_query_string(user))


_BY_KIND = {
    Notice.Kind.FILTERS_DUE.value: _filters_due,
    Notice.Kind.FOLLOW_UP.value: _filters_due,
    Notice.Kind.SIGN_IN.value: _sign_in,
    Notice.Kind.VISIT.value: _visit,
    Notice.Kind.TIMES.value: _times,
    Notice.Kind.DONE.value: _done,
    Notice.Kind.SHUT.value: _shut,
}
_OWN_TEMPLATE = {
    Notice.Kind.SIGN_IN.value: "sign_in",
    Notice.Kind.VISIT.value: "visit",
    Notice.Kind.TIMES.value: "times",
    Notice.Kind.DONE.value: "done",
    Notice.Kind.SHUT.value: "shut",
}


def times_url(visit: Visit) -> str:
    """The page on which a household chooses among the times offered for a visit."""
    return absolute("times", signing.make(Purpose.TIMES, str(visit.pk)))


def answer_url(notice: Notice) -> str:
    """Where the reader says what was done."""
    return absolute("answer", signing.make(Purpose.ANSWER, f"notice:{notice.pk}"))


def stop_url(person: Person | None, subject: str | None) -> str:
    """Where the reader stops letters about the subject; empty for what was asked for each time."""
    if person is None or subject is None:
        return ""
    return absolute("stop-mail", signing.make(Purpose.STOP_MAIL, f"{subject}:{person.pk}"))


def _build(notice: Notice, subject: str, more: dict[str, object], now: datetime) -> Letter:
    desk = Desk.the()
    stop = stop_url(notice.person, SUBJECT_OF.get(notice.kind))
    context = {
        "desk": desk,
        "person": notice.person,
        "site": notice.site,
        "subject": subject,
        "answer_url": answer_url(notice),
        "stop_url": stop,
        "units": units_of_person(notice.person),
        **more,
    }
    name = _OWN_TEMPLATE.get(notice.kind, "filters_due")
    return Letter(
        # The address on record now, not the one of an earlier try.
        to=notice.person.email if notice.person and notice.person.email else notice.sent_to,
        subject=subject,
        text=render_to_string(f"schedules/mail/{name}.txt", context).strip() + "\n",
        html=render_to_string(f"schedules/mail/{name}.html", context),
        # The same row always makes the same id, so that a mailbox drops a second copy.
        message_id=f"<{notice.key}.{notice.pk}@{host()}>",
        stop_url=stop,
        at=now,
    )


def message_of(letter: Letter) -> EmailMultiAlternatives:
    """The letter as a message ready for the mail server."""
    desk = Desk.the()
    mail = EmailMultiAlternatives(
        subject=letter.subject,
        body=letter.text,
        from_email=formataddr((desk.name, settings.DEFAULT_FROM_EMAIL)),
        to=[letter.to],
        reply_to=[desk.email] if desk.email else None,
        headers=_headers(letter),
    )
    mail.attach_alternative(letter.html, "text/html")
    if letter.calendar:
        invitations.attach(mail, invitations.File(letter.calendar, letter.calendar_method))
    return mail


def _headers(letter: Letter) -> dict[str, str]:
    headers = {
        "Message-ID": letter.message_id,
        "Date": format_datetime(letter.at),
        "Auto-Submitted": "auto-generated",
    }
    if letter.stop_url:
        # One-click unsubscription by RFC 8058.
        headers["List-Unsubscribe"] = f"<{letter.stop_url}>"
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers
