"""Systems, filters, and what was read and done at them."""

from datetime import UTC, date, datetime

import factory
import numpy as np
from factory.django import DjangoModelFactory

from equipment import models as record
from shared.keys import key_print
from shared.packed_days import DAYS, pack
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC
from tests.factories.clock import NOW, TODAY
from tests.factories.homes import SiteFactory, StationFactory


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


class FanYearFactory(DjangoModelFactory):
    class Meta:
        model = record.FanYear

    system = factory.SubFactory(SystemFactory)
    year = 2025
    hours = factory.LazyFunction(lambda: pack(np.full(DAYS, 6.5)))


class RuntimeDayFactory(DjangoModelFactory):
    class Meta:
        model = record.RuntimeDay

    system = factory.SubFactory(SystemFactory)
    day = TODAY
    fan_hours = 5.0


class RuntimeBeforeFactory(DjangoModelFactory):
    class Meta:
        model = record.RuntimeBefore

    system = factory.SubFactory(SystemFactory)
    day = TODAY
    fan_hours = 4.0
    at = NOW
    source = "logger-0"


class WeatherBeforeFactory(DjangoModelFactory):
    class Meta:
        model = record.WeatherBefore

    station = factory.SubFactory(StationFactory)
    day = TODAY
    figure = "temperature"
    value = 21.5
    at = NOW
    source = "weather.csv"


class DeviceFactory(DjangoModelFactory):
    """Its key is ``key-`` and its number."""

    class Meta:
        model = record.Device

    system = factory.SubFactory(SystemFactory)
    name = factory.Sequence(lambda n: f"logger-{n}")
    key_print = factory.Sequence(lambda n: key_print(f"key-{n}"))
    key_begins = "key-"
    made_at = NOW
