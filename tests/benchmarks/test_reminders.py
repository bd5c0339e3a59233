"""Reminders through one sender beside a bare loop that posts the same letters to the same server."""

import smtplib
import time
from datetime import date

import pytest

from equipment.models import Customer, FilterSlot, Person, Site, SiteRole, System
from schedules import reminders, sending
from schedules.models import Notice, Plan
from tests.drills.conftest import Mailbox, mailbox  # noqa: F401
from tests.factories import NOW, TODAY

pytestmark = [pytest.mark.benchmark, pytest.mark.long, pytest.mark.django_db]
HOMES = 150


def fill() -> None:
    """Households with a filter that is due in four days."""
    customer = Customer.objects.create(name="Families")
    sites = Site.objects.bulk_create(Site(name=f"home {n}", customer=customer) for n in range(HOMES))
    people = Person.objects.bulk_create(
        Person(name=f"Person {n}", email=f"reader{n}@home.example") for n in range(HOMES)
    )
    SiteRole.objects.bulk_create(
        SiteRole(site=site, person=person, role=SiteRole.Role.FILTER_CHANGER)
        for site, person in zip(sites, people, strict=True)
    )
    systems = System.objects.bulk_create(System(name=f"s{n}", site=site) for n, site in enumerate(sites))
    slots = FilterSlot.objects.bulk_create(
        FilterSlot(
            name=f"f{n}", system=system, nominal_size="16x25x1", short_m=0.4064, long_m=0.635, depth_m=0.0254,
            facts_changed_at=NOW,
        )
        for n, system in enumerate(systems)
    )  # fmt: skip
    Plan.objects.bulk_create(
        Plan(
            slot=slot, due_on=date(2026, 5, 16), reason=Plan.Reason.CALENDAR, as_of=TODAY, facts_at=NOW,
            made_at=NOW,
        )
        for slot in slots
    )  # fmt: skip


def test_reminders_a_second(mailbox: Mailbox) -> None:  # noqa: F811
    fill()
    began = time.perf_counter()
    assert reminders.write_due(NOW) == HOMES
    written = time.perf_counter() - began
    began = time.perf_counter()
    assert sending.send_all(NOW) == HOMES
    ours = time.perf_counter() - began
    assert Notice.objects.filter(state=Notice.State.SENT).count() == HOMES

    raw, began = list(mailbox.raw), time.perf_counter()
    with smtplib.SMTP("127.0.0.1", mailbox.port) as server:
        for number, body in enumerate(raw):
            server.sendmail("filters@desk.invalid", [f"reader{number}@home.example"], body)
    bare = time.perf_counter() - began
    assert len(mailbox.raw) == 2 * HOMES
    print(
        f"{HOMES} reminders: found and written in {written:.2f} s, sent in {ours:.2f} s "
        f"({HOMES / ours:.0f} a second), {ours / bare:.1f} times a bare loop's {bare:.2f} s"
    )
