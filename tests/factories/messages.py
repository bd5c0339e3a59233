"""Letters, calls, answers, calendars."""

import factory
from factory.django import DjangoModelFactory

from schedules import models as plans
from tests.factories.clock import NOW
from tests.factories.filters import FilterSlotFactory
from tests.factories.homes import PersonFactory, SiteFactory
from tests.factories.visits import VisitFactory


class FeedFactory(DjangoModelFactory):
    class Meta:
        model = plans.Feed

    site = factory.SubFactory(SiteFactory)


class CalendarEventFactory(DjangoModelFactory):
    class Meta:
        model = plans.CalendarEvent

    uid = factory.Sequence(lambda n: f"event-{n}@desk")
    site = factory.SubFactory(SiteFactory)
    content_hash = "0" * 64
    text = "BEGIN:VEVENT\r\nEND:VEVENT\r\n"
    first_at = NOW
    last_at = NOW
    changed_at = NOW


class ReplyFactory(DjangoModelFactory):
    class Meta:
        model = plans.Reply

    visit = factory.LazyFunction(lambda: VisitFactory())
    message_id = factory.Sequence(lambda n: f"<reply-{n}@home.example>")
    sender = "robin@home.example"
    said = plans.Reply.Said.ACCEPTED
    at = NOW
    read_at = NOW


class NoticeFactory(DjangoModelFactory):
    class Meta:
        model = plans.Notice

    key = factory.Sequence(lambda n: f"notice-{n}")
    kind = plans.Notice.Kind.FILTERS_DUE
    send_at = NOW


class RungFactory(DjangoModelFactory):
    class Meta:
        model = plans.Rung

    site = factory.SubFactory(SiteFactory)
    key = factory.Sequence(lambda n: f"call-{n}")
    why = "no mail address"
    at = NOW
    reached = True


class NoticeSlotFactory(DjangoModelFactory):
    class Meta:
        model = plans.NoticeSlot

    notice = factory.SubFactory(NoticeFactory)
    slot = factory.SubFactory(FilterSlotFactory)
    kind = plans.Notice.Kind.FILTERS_DUE
    life = "first"


class AnswerFactory(DjangoModelFactory):
    class Meta:
        model = plans.Answer

    site = factory.LazyAttribute(lambda answer: answer.slot.system.site)
    slot = factory.SubFactory(FilterSlotFactory)
    kind = plans.Answer.Kind.NOT_YET
    life = "first"
    at = NOW


class MailServerFactory(DjangoModelFactory):
    class Meta:
        model = plans.MailServer
        django_get_or_create = ("pk",)

    pk = 1


class RestedAddressFactory(DjangoModelFactory):
    class Meta:
        model = plans.RestedAddress

    email = factory.Sequence(lambda n: f"rests{n}@home.example")
    why = "550 no such mailbox"
    since = NOW


class WishFactory(DjangoModelFactory):
    class Meta:
        model = plans.Wish

    person = factory.SubFactory(PersonFactory)
    subject = "filters"
    wanted = False
    at = NOW
    how = plans.Wish.How.LETTER
    wording = "Letters about filters: Stop them"
