"""Technicians, their days, and what they tell."""

from datetime import date, time
from uuid import uuid4

import factory
from factory.django import DjangoModelFactory

from schedules import models as plans
from tests.factories.clock import NOW, TODAY
from tests.factories.filters import FilterSlotFactory
from tests.factories.homes import SiteFactory, UserFactory


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


class OfferedTimeFactory(DjangoModelFactory):
    class Meta:
        model = plans.OfferedTime

    visit = factory.SubFactory(VisitFactory)
    technician = factory.SubFactory(TechnicianFactory)
    day = date(2026, 5, 20)
    first = time(8)
    last = time(12)
    offered_at = NOW


class RoundPlanFactory(DjangoModelFactory):
    class Meta:
        model = plans.RoundPlan

    first_day = date(2026, 5, 13)
    last_day = date(2026, 5, 22)
    asked_at = NOW


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
