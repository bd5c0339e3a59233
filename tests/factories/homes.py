"""Homes, their people, and the air about them."""

from datetime import date, timedelta

import factory
from factory.django import DjangoModelFactory

from equipment import models as record
from shared.keys import key_print
from tests.factories.clock import NOW, TODAY


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


class ApiKeyFactory(DjangoModelFactory):
    class Meta:
        model = record.ApiKey

    user = factory.SubFactory(UserFactory)
    name = "a script"
    key_print = factory.Sequence(lambda n: key_print(f"program-{n}"))
    key_begins = "progra"
    made_at = NOW
    expires_at = NOW + timedelta(days=365)


class KnownBrowserFactory(DjangoModelFactory):
    class Meta:
        model = record.KnownBrowser

    user = factory.SubFactory(UserFactory)
    cookie_print = factory.Sequence(lambda n: key_print(f"browser-{n}"))
    made_at = NOW


class KeptAnswerFactory(DjangoModelFactory):
    class Meta:
        model = record.KeptAnswer

    asked = factory.Sequence(lambda n: key_print(f"asked-{n}"))
    write = "0" * 64
    status = 201
    body = "{}"
    at = NOW
