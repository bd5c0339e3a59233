"""One minimal valid row a model."""

from datetime import UTC, date, datetime, time
from typing import Any
from uuid import uuid4

import factory
from factory.django import DjangoModelFactory

from equipment import models as record
from schedules import models as plans
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC

NOW = datetime(2026, 5, 12, 15, tzinfo=UTC)
TODAY = date(2026, 5, 12)


class CustomerFactory(DjangoModelFactory):
    class Meta:
        model = record.Customer

    name = factory.Sequence(lambda n: f"Household {n}")


class DeskFactory(DjangoModelFactory):
    class Meta:
        model = record.Desk
        django_get_or_create = ("pk",)

    pk = 1


class PersonFactory(DjangoModelFactory):
    class Meta:
        model = record.Person

    name = factory.Sequence(lambda n: f"Person {n}")
    email = factory.Sequence(lambda n: f"person{n}@home.example")


class StationFactory(DjangoModelFactory):
    class Meta:
        model = record.Station

    name = factory.Sequence(lambda n: f"station-{n}")
    latitude = 41.9
    longitude = -87.8


class WeatherDayFactory(DjangoModelFactory):
    class Meta:
        model = record.WeatherDay

    station = factory.SubFactory(StationFactory)
    day = TODAY
    mean_temp_c = 12.0


class SiteFactory(DjangoModelFactory):
    class Meta:
        model = record.Site

    name = factory.Sequence(lambda n: f"{n} Elm Street")
    customer = factory.SubFactory(CustomerFactory)


class DustEpisodeFactory(DjangoModelFactory):
    class Meta:
        model = record.DustEpisode

    site = factory.SubFactory(SiteFactory)
    kind = record.DustEpisode.Kind.SMOKE
    first_day = date(2026, 4, 20)
    last_day = date(2026, 4, 30)
    factor = 3.0
    recorded_on = TODAY


class AirDayFactory(DjangoModelFactory):
    class Meta:
        model = record.AirDay

    station = factory.SubFactory(StationFactory)
    day = TODAY
    pm25_ugm3 = 8.0


class SiteRoleFactory(DjangoModelFactory):
    class Meta:
        model = record.SiteRole

    site = factory.SubFactory(SiteFactory)
    person = factory.SubFactory(PersonFactory)
    role = record.SiteRole.Role.FILTER_CHANGER


class AirRecordFactory(DjangoModelFactory):
    class Meta:
        model = record.AirRecord

    system = factory.LazyFunction(lambda: SystemFactory())
    measured_at = datetime(2026, 4, 1, 15, tzinfo=UTC)
    return_static_pa = 0.1 * PA_PER_INWC


class SystemFactory(DjangoModelFactory):
    class Meta:
        model = record.System

    name = factory.Sequence(lambda n: f"system-{n}")
    site = factory.SubFactory(SiteFactory)


class Sides(DjangoModelFactory):
    """16x25x1, for whatever has a nominal size."""

    class Meta:
        abstract = True

    nominal_size = "16x25x1"
    short_m = 16 * METRE_PER_INCH
    long_m = 25 * METRE_PER_INCH
    depth_m = METRE_PER_INCH


class MediaFactory(Sides):
    class Meta:
        model = record.Media

    name = factory.Sequence(lambda n: f"pleat-{n}")
    merv = 8


class MediaPointFactory(DjangoModelFactory):
    class Meta:
        model = record.MediaPoint

    media = factory.SubFactory(MediaFactory)
    airflow_m3s = 600 * M3S_PER_CFM
    clean_drop_pa = 0.1 * PA_PER_INWC


class FilterSlotFactory(Sides):
    class Meta:
        model = record.FilterSlot

    name = factory.Sequence(lambda n: f"slot-{n}")
    system = factory.SubFactory(SystemFactory)
    facts_changed_at = NOW


class MeanwhileFactory(DjangoModelFactory):
    class Meta:
        model = record.Meanwhile

    slot = factory.SubFactory(FilterSlotFactory)
    media = factory.SubFactory(MediaFactory)
    begins_on = TODAY
    look_on = date(2026, 5, 26)
    ends_on = date(2026, 6, 9)


class FilterChangeFactory(DjangoModelFactory):
    class Meta:
        model = record.FilterChange

    slot = factory.SubFactory(FilterSlotFactory)
    changed_on = date(2026, 3, 1)
    changed_at = datetime(2026, 3, 2, 6, tzinfo=UTC)


class ReadingFactory(DjangoModelFactory):
    class Meta:
        model = record.Reading

    slot = factory.SubFactory(FilterSlotFactory)
    taken_at = datetime(2026, 4, 1, 15, tzinfo=UTC)
    filter_drop_pa = 0.12 * PA_PER_INWC


class RuntimeDayFactory(DjangoModelFactory):
    class Meta:
        model = record.RuntimeDay

    system = factory.SubFactory(SystemFactory)
    day = TODAY
    fan_hours = 5.0


class LifeEventFactory(DjangoModelFactory):
    class Meta:
        model = record.LifeEvent

    site = factory.SubFactory(SiteFactory)
    kind = record.LifeEvent.Kind.VACANT
    on = TODAY


class UserFactory(DjangoModelFactory):
    class Meta:
        model = record.User

    username = factory.Sequence(lambda n: f"user{n}")
    password = "!"  # nobody signs in with it; tests use force_login


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


class DepotFactory(DjangoModelFactory):
    class Meta:
        model = plans.Depot

    name = factory.Sequence(lambda n: f"Branch {n}")
    latitude = 41.9
    longitude = -87.8


class AbsenceFactory(DjangoModelFactory):
    class Meta:
        model = plans.Absence

    first_day = date(2026, 5, 25)
    last_day = date(2026, 5, 25)


class HomeHoursFactory(DjangoModelFactory):
    class Meta:
        model = plans.HomeHours

    site = factory.SubFactory(SiteFactory)


class RoundPlanFactory(DjangoModelFactory):
    class Meta:
        model = plans.RoundPlan

    first_day = date(2026, 5, 13)
    last_day = date(2026, 5, 22)
    asked_at = NOW


class MaintenanceTaskFactory(DjangoModelFactory):
    class Meta:
        model = plans.MaintenanceTask

    system = factory.SubFactory(SystemFactory)
    name = factory.Sequence(lambda n: f"Clean the drain {n}")
    interval_days = 365


class TaskDoneFactory(DjangoModelFactory):
    class Meta:
        model = plans.TaskDone

    task = factory.SubFactory(MaintenanceTaskFactory)
    done_on = TODAY


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


class FleetPriorFactory(DjangoModelFactory):
    class Meta:
        model = plans.FleetPrior

    day = TODAY
    numbers = factory.LazyFunction(lambda: {"house": 0.65})
    learned_from = 0
    made_at = NOW


class ForetoldFactory(DjangoModelFactory):
    class Meta:
        model = plans.Foretold

    reading = factory.SubFactory(ReadingFactory)
    as_of = date(2026, 3, 4)
    days = 28
    p10_pa = 25.0
    p50_pa = 30.0
    p90_pa = 36.0
    read_pa = 31.0
    merv = 8
    made_at = NOW


class PlanFactory(DjangoModelFactory):
    class Meta:
        model = plans.Plan

    slot = factory.SubFactory(FilterSlotFactory)
    due_on = date(2026, 6, 1)
    reason = plans.Plan.Reason.CALENDAR
    as_of = TODAY
    facts_at = NOW
    made_at = NOW
    notes = factory.LazyFunction(lambda: ["readings:0", "past_lives:0"])


class PolicyFactory(DjangoModelFactory):
    class Meta:
        model = plans.Policy
        django_get_or_create = ("pk",)

    pk = 1


class TechnicianFactory(DjangoModelFactory):
    class Meta:
        model = plans.Technician

    name = factory.Sequence(lambda n: f"Technician {n}")


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = plans.Visit

    site = factory.SubFactory(SiteFactory)


class VisitJobFactory(DjangoModelFactory):
    class Meta:
        model = plans.VisitJob

    visit = factory.SubFactory(VisitFactory)
    slot = factory.SubFactory(FilterSlotFactory)


def every() -> list[type[DjangoModelFactory[Any]]]:
    """All factories that make rows."""
    return [
        value
        for value in globals().values()
        if isinstance(value, type) and issubclass(value, DjangoModelFactory) and value._meta.model
    ]


class OfferedTimeFactory(DjangoModelFactory):
    class Meta:
        model = plans.OfferedTime

    visit = factory.SubFactory(VisitFactory)
    technician = factory.SubFactory(TechnicianFactory)
    day = date(2026, 5, 20)
    first = time(8)
    last = time(12)
    offered_at = NOW


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


class TagFactory(DjangoModelFactory):
    class Meta:
        model = plans.Tag

    slot = factory.SubFactory(FilterSlotFactory)
    code = factory.Sequence(lambda n: f"K7M4{n:04d}")
    made_at = NOW


class VanTickFactory(DjangoModelFactory):
    class Meta:
        model = plans.VanTick

    technician = factory.SubFactory(TechnicianFactory)
    day = TODAY
    size = "16x25x1"
    count = 2
    at = NOW


class PhotographFactory(DjangoModelFactory):
    class Meta:
        model = plans.Photograph

    uid = factory.LazyFunction(uuid4)
    slot = factory.SubFactory(FilterSlotFactory)
    taken_at = NOW
    recorded_at = NOW
    width = 400
    height = 300
    jpeg = b"\xff\xd8\xff\xd9"


class FieldEntryFactory(DjangoModelFactory):
    class Meta:
        model = plans.FieldEntry

    uid = factory.LazyFunction(uuid4)
    device = factory.LazyFunction(uuid4)
    number = factory.Sequence(lambda n: n)
    user = factory.SubFactory(UserFactory)
    visit = factory.SubFactory(VisitFactory)
    visit_number = factory.LazyAttribute(lambda row: row.visit.pk if row.visit else 0)
    kind = plans.FieldEntry.Kind.COMPLETED
    pressed_at = NOW
    at = NOW
    received_at = NOW


class DefectFactory(DjangoModelFactory):
    class Meta:
        model = plans.Defect

    visit = factory.SubFactory(VisitFactory)
    site = factory.SelfAttribute("visit.site")
    kind = plans.Defect.Kind.RETURN_LEAK
    seen_at = NOW


class KeptDateFactory(DjangoModelFactory):
    class Meta:
        model = plans.KeptDate

    slot = factory.SubFactory(FilterSlotFactory)
    began_on = date(2026, 1, 10)
    due_on = date(2026, 5, 1)
    reason = "risk"
    as_of = date(2026, 4, 28)
    ended_on = date(2026, 4, 29)


class PurchaseFactory(DjangoModelFactory):
    class Meta:
        model = plans.Purchase

    media = factory.SubFactory(MediaFactory)
    count = 12
    ordered_on = TODAY
    expected_on = date(2026, 5, 19)


class SentFilterFactory(DjangoModelFactory):
    class Meta:
        model = plans.SentFilter

    slot = factory.SubFactory(FilterSlotFactory)
    since = TODAY


class SeasonPlanFactory(DjangoModelFactory):
    class Meta:
        model = plans.SeasonPlan

    first_day = date(2026, 5, 18)
    asked_at = NOW


class SeasonTripFactory(DjangoModelFactory):
    class Meta:
        model = plans.SeasonTrip

    plan = factory.SubFactory(SeasonPlanFactory)
    site = factory.SubFactory(SiteFactory)
    week = 0
    minutes = 30
    first_day = date(2026, 5, 18)
    last_day = date(2026, 6, 7)
