"""The outbox is emptied: claim a row, look once more, send it, record what became of it.

A claim whose worker died is parked for a person to judge, never sent again: sending twice is worse than
asking.
"""

import logging
import time as clocks
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from equipment.models import User
from schedules import emails, hours_of_sending, open_times, shut_letters, texts
from schedules.models import MailServer, Notice, NoticeSlot, Policy, RestedAddress
from schedules.posting import NobodyKnows, NotTaken, Post, Refused, ServerFault
from schedules.reach import SUBJECT_OF, why_no_mail, why_unwanted
from schedules.reminders import filter_changers
from schedules.to_speak_of import to_speak_of, why_nothing
from schedules.visit_notices import why_stale
from schedules.visits_done import why_stale as why_done_stale

log = logging.getLogger(__name__)
CLAIM_LASTS = timedelta(minutes=15)
# Four tries after the first, the last after some four hours: a server that greylists takes it by then.
MOST_ATTEMPTS = 5
# A server that takes nothing is left alone so long, whatever waits.
FAULT_LASTS = timedelta(minutes=1)
SIGN_IN_LASTS = timedelta(hours=1)


class NotJudged(ValueError):
    """The row does not wait for anybody's judgement."""


def send_all(now: datetime) -> int:
    """Send what is due, over one connection; how many rows were worked on."""
    park_lost_claims(now)
    count, began = 0, clocks.monotonic()
    with Post() as post:
        # A long outbox takes its time: every row has its own.
        while send_one(now + timedelta(seconds=int(clocks.monotonic() - began)), post):
            count += 1
    return count


def send_one(now: datetime, post: Post | None = None) -> bool:
    """Send the next row that is due; True while there is work."""
    if post is None:
        with Post() as own:
            return send_one(now, own)
    notice = _next(now)
    if notice is None:
        return False
    # The WHERE repeats what was read: one row changed means that it is ours.
    claimed = Notice.objects.filter(pk=notice.pk, state=Notice.State.WAITING).update(
        state=Notice.State.CLAIMED, claimed_at=now, attempts=notice.attempts + 1
    )
    if claimed == 1:
        notice.attempts += 1
        _Sender(notice, now).send(post)
    return True


def _next(now: datetime) -> Notice | None:
    waiting = Notice.objects.filter(state=Notice.State.WAITING, send_at__lte=now)
    again_at = MailServer.objects.filter(pk=1).values_list("again_at", flat=True).first()
    if again_at is not None and again_at > now:
        waiting = waiting.exclude(channel=Notice.Channel.MAIL)
    return waiting.order_by("send_at", "pk").select_related("person", "site__customer", "visit").first()


class _Sender:
    """One claimed row. What it writes counts only while the claim is its own."""

    def __init__(self, notice: Notice, now: datetime) -> None:
        self.notice, self.now = notice, now
        self.spoken: set[int] = set()

    def send(self, post: Post) -> None:
        """From the last look to what became of it."""
        try:
            letter = self._looked_at()
        except Exception as error:
            # A row that cannot be written must not stop those behind it.
            log.exception("notice %s could not be written", self.notice.pk)
            self._finish(Notice.State.FAILED, _("could not be written: %s") % type(error).__name__)
            return
        if letter is not None and self._mine().update(**_drafted(letter)):
            self._post(letter, post)

    def _looked_at(self) -> emails.Letter | None:
        """The letter as it goes out now; None where it does not, or not yet, which is recorded."""
        why = stale(self.notice, self.now)
        if why:
            self._not_sent(why)
            return None
        hour = hours_of_sending.next_for(self.notice, self.now, Policy.the())
        if hour > self.now:
            self._wait(hour, "")
            return None
        self.spoken = {slot.pk for slot in to_speak_of(self.notice, self.now)}
        return emails.letter_for(self.notice, self.now)

    def _post(self, letter: emails.Letter, post: Post) -> None:
        try:
            if self.notice.channel == Notice.Channel.TEXT:
                texts.post(letter.to, letter.text, self.notice.key)
            else:
                post.send(emails.message_of(letter))
        except Refused as error:
            self._finish(Notice.State.FAILED, str(error))
            if error.mailbox and self.notice.channel == Notice.Channel.MAIL:
                rest(letter.to, str(error), self.now)
        except NotTaken as error:
            self._try_later(str(error))
        except ServerFault as error:
            self._hold(str(error))
        except NobodyKnows as error:
            said = _("handed over, and no answer came (%(why)s): sent or not?") % {"why": error}
            self._finish(Notice.State.PARKED, said)
            # One that does not answer would swallow the others one by one.
            self._hold_server(str(error))
        except Exception as error:
            log.exception("notice %s broke while it was handed over", self.notice.pk)
            self._finish(Notice.State.PARKED, _("broke (%s): sent or not?") % type(error).__name__)
        else:
            self._sent()

    def _mine(self) -> QuerySet[Notice]:
        return Notice.objects.filter(
            pk=self.notice.pk, state=Notice.State.CLAIMED, attempts=self.notice.attempts
        )

    def _sent(self) -> None:
        told = {"state": Notice.State.SENT, "sent_at": self.now, "why": ""}
        if self.notice.kind == Notice.Kind.SIGN_IN and not settings.OUTGOING_MAIL_IS_KEPT:
            # The link in it opens an account.
            told |= {"text": "", "html": ""}
        # Parked meanwhile, or even judged: it is out all the same, and must not go again.
        if not self._mine().update(**told):
            Notice.objects.filter(pk=self.notice.pk).update(**told)
        # What the letter left out was not told.
        self.notice.slots.exclude(slot__in=self.spoken).update(void=True)
        MailServer.objects.filter(pk=1).exclude(fault="").update(fault="", since=None, again_at=None)

    def _finish(self, state: str, why: str) -> None:
        self._mine().update(state=state, why=why[:300])

    def _not_sent(self, why: str) -> None:
        """Its filters may be spoken of again, should what stood in the way go away."""
        with transaction.atomic():
            if self._mine().update(state=Notice.State.NOT_SENT, why=why[:300]):
                self.notice.slots.update(void=True)

    def _wait(self, until: datetime, why: str) -> None:
        """Back to the others without a try counted."""
        self._mine().update(
            state=Notice.State.WAITING, send_at=until, attempts=self.notice.attempts - 1, why=why[:300]
        )

    def _try_later(self, why: str) -> None:
        """Put the row back with growing patience; give it to a person after the last try."""
        log.warning("notice %s was not taken: %s", self.notice.pk, why)
        if self.notice.attempts >= MOST_ATTEMPTS:
            self._finish(Notice.State.FAILED, why)
            return
        wait = timedelta(minutes=2 ** (2 * self.notice.attempts))
        self._mine().update(state=Notice.State.WAITING, send_at=self.now + wait, why=why[:300])

    def _hold(self, why: str) -> None:
        """Nothing gets out: nobody's letter is to blame, and all wait; this one behind the others."""
        self._wait(self.now + FAULT_LASTS, why)
        self._hold_server(why)

    def _hold_server(self, why: str) -> None:
        if self.notice.channel == Notice.Channel.TEXT:
            waiting = Notice.objects.filter(channel=Notice.Channel.TEXT, state=Notice.State.WAITING)
            waiting.filter(send_at__lt=self.now + FAULT_LASTS).update(send_at=self.now + FAULT_LASTS)
            return
        server = MailServer.the()
        log.warning("the mail server takes no letters: %s", why)
        server.fault, server.again_at = why[:300], self.now + FAULT_LASTS
        server.since = server.since or self.now
        server.save()


def _drafted(letter: emails.Letter) -> dict[str, object]:
    """What a row holds before it is tried, so that one that is parked tells what may have gone out."""
    return {
        "sent_to": letter.to,
        "subject": letter.subject[:200],
        "text": letter.text,
        "html": letter.html,
        "said": letter.said,
    }


def rest(email: str, why: str, now: datetime) -> None:
    """Send nothing more to a mailbox that refused a letter for good."""
    RestedAddress.objects.get_or_create(
        email=email.lower(), lifted_at=None, defaults={"why": why[:300], "since": now}
    )


def lift(pk: int, now: datetime) -> bool:
    """Write to the address again, also of what failed there; whether it was resting."""
    row = RestedAddress.objects.filter(pk=pk, lifted_at=None).first()
    if row is None:
        return False
    RestedAddress.objects.filter(pk=pk).update(lifted_at=now)
    failed = NoticeSlot.objects.filter(notice__state=Notice.State.FAILED, notice__sent_to__iexact=row.email)
    failed.update(void=True)
    return True


def stale(notice: Notice, now: datetime) -> str:
    """Why the letter must not go out any more, looked at in the last moment; empty when it may."""
    if notice.person is not None:
        notice.person.refresh_from_db()
    if notice.kind == Notice.Kind.SIGN_IN:
        return _("asked for too long ago") if now - notice.created_at > SIGN_IN_LASTS else ""
    by_kind = {
        Notice.Kind.VISIT.value: why_stale,
        Notice.Kind.TIMES.value: open_times.why_stale,
        Notice.Kind.DONE.value: why_done_stale,
        Notice.Kind.SHUT.value: shut_letters.why_stale,
    }
    subject = SUBJECT_OF[notice.kind]
    if notice.channel == Notice.Channel.TEXT:
        why = why_unwanted(notice.person, subject) or texts.why_no_text(notice.person)
    else:
        why = why_no_mail(notice.person, subject)
    if why:
        return why
    return by_kind.get(notice.kind, _why_filters_stale)(notice, now)


def _why_filters_stale(notice: Notice, now: datetime) -> str:
    if notice.site is None or notice.person is None:
        return _("its home or its reader is not known")
    if filter_changers([notice.site.pk]).get(notice.site.pk) != notice.person:
        return _("somebody else changes the filters there now")
    if notice.site.vacant_since or notice.site.customer.gone_on:
        return _("nobody lives there now")
    return why_nothing(notice, now)


def park_lost_claims(now: datetime) -> int:
    """Claims whose worker died: sent or not, nobody knows; a person must look."""
    lost = Notice.objects.filter(state=Notice.State.CLAIMED, claimed_at__lt=now - CLAIM_LASTS)
    return lost.update(state=Notice.State.PARKED, why=_("the sender stopped in the middle: sent or not?"))


def judge(notice: Notice, *, sent: bool, user: User | None, now: datetime) -> None:
    """Say of a parked row whether it went out; one that did not waits again under its old id. Raises
    NotJudged for a row that is not parked."""
    told: dict[str, object] = {"judged_by": user, "judged_at": now, "why": ""}
    if sent:
        told |= {"state": Notice.State.SENT, "sent_at": notice.claimed_at or now}
    else:
        told |= {"state": Notice.State.WAITING, "send_at": now}
    parked = Notice.objects.filter(pk=notice.pk, state=Notice.State.PARKED)
    if not parked.update(**told):
        raise NotJudged(_("This letter does not wait for a judgement any more."))
