"""Dates, what became of them, and what they ask for."""

from datetime import date, timedelta

import factory
from factory.django import DjangoModelFactory

from schedules import models as plans
from tests.factories.clock import NOW, TODAY
from tests.factories.filters import FilterSlotFactory, MediaFactory, ReadingFactory, SystemFactory


class FleetPriorFactory(DjangoModelFactory):
    class Meta:
        model = plans.FleetPrior

    day = TODAY
    numbers = factory.LazyFunction(lambda: {"house": 0.65})
    learned_from = 0
    made_at = NOW


class DateBeforeFactory(DjangoModelFactory):
    class Meta:
        model = plans.DateBefore

    slot = factory.SubFactory(FilterSlotFactory)
    due_on = date(2026, 6, 1)
    reason = plans.Plan.Reason.CALENDAR
    until = NOW
    moved = plans.DateBefore.Moved.FACT


class DayResultFactory(DjangoModelFactory):
    class Meta:
        model = plans.DayResult

    key = factory.Sequence(lambda n: f"subject {n}")
    day = TODAY
    made_at = NOW
    told = factory.LazyFunction(lambda: {"share": 0.0})


class NightFactory(DjangoModelFactory):
    class Meta:
        model = plans.Night

    day = factory.Sequence(lambda n: TODAY + timedelta(days=n))
    started_at = NOW


class NightPartFactory(DjangoModelFactory):
    class Meta:
        model = plans.NightPart

    night = factory.SubFactory(NightFactory)
    first_site = factory.Sequence(lambda n: 1 + 2000 * n)
    last_site = factory.Sequence(lambda n: 2000 + 2000 * n)


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
