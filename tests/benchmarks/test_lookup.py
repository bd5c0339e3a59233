"""The look-up over a hundred thousand slots: right answers, and its p95 beside a bare indexed query's."""

import time
from collections.abc import Callable
from statistics import quantiles

import pytest

from equipment.look_up_refresh import refresh
from equipment.lookup import look_up, nearest
from equipment.models import Customer, FilterSlot, Media, Person, Site, SiteRole, System
from tests.factories import NOW, MediaFactory

pytestmark = [pytest.mark.benchmark, pytest.mark.long, pytest.mark.django_db]
STREETS = ("Elm", "Ash", "Mill", "Quarry", "Linden", "Juniper", "Gannet", "Willow", "Harbour", "Orchard")
KINDS = ("Street", "Road", "Lane", "Close")
TOWNS = ("Dunmere", "Kettle Bend", "Springfield", "Orléans", "Ashby")
HEADS = ("Lind", "Brand", "Mor", "Cast", "Hal", "Vern", "Oster", "Quin", "Rad", "Sor")
TAILS = ("qvist", "ström", "elli", "aro", "berg", "wick", "mann", "eira", "sky", "ton")
SIZES = [(16, 25), (16, 20), (20, 20), (20, 25), (14, 20), (14, 25), (18, 24), (12, 24)]


def family(n: int) -> str:
    return f"{HEADS[n % 10]}{TAILS[n // 10 % 10]}"


def house(n: int) -> str:
    return f"{n // 40 + 1} {STREETS[n % 10]} {KINDS[n // 10 % 4]}"


def fill(count: int, media: list[Media]) -> None:
    """Homes of one slot, a person and a medium each, made in bulk; the triggers alone tell the look-up."""
    numbers = range(count)
    customers = Customer.objects.bulk_create(Customer(name=f"{family(n)} {n}") for n in numbers)
    sites = Site.objects.bulk_create(
        Site(
            name=f"place {n}",
            customer=customer,
            street=house(n),
            city=TOWNS[n % 5],
            postcode=f"{60000 + n % 999}",
        )
        for n, customer in enumerate(customers)
    )
    people = Person.objects.bulk_create(
        Person(name=f"{family(n * 7)} Jo", phone=f"(555) {n:07d}") for n in numbers
    )
    SiteRole.objects.bulk_create(
        SiteRole(site=site, person=person, role=SiteRole.Role.OCCUPANT)
        for site, person in zip(sites, people, strict=True)
    )
    systems = System.objects.bulk_create(System(name=f"air {n}", site=site) for n, site in enumerate(sites))
    FilterSlot.objects.bulk_create(
        FilterSlot(
            name=f"KB-{n:06d}", system=system, facts_changed_at=NOW, first_media=media[n % len(media)],
            nominal_size="{}x{}x1".format(*SIZES[n % 8]), short_m=SIZES[n % 8][0] * 0.0254,
            long_m=SIZES[n % 8][1] * 0.0254, depth_m=0.0254,
        )
        for n, system in enumerate(systems)
    )  # fmt: skip


def questions(count: int) -> list[tuple[str, str]]:
    """Two hundred of ten sorts, each with the code that must stand first where only one can."""
    asked = []
    for at in range(20):
        n = at * 7919 % count
        code = f"KB-{n:06d}"
        asked += [
            (code, code), (code.lower().replace("-", ""), code), (f"{house(n)} {family(n)} {n}", code),
            (f"555 {n:07d}", code), (f"{family(n)} {n}", code), (house(n), ""), (STREETS[n % 10].lower(), ""),
            ("{}x{}x1".format(*SIZES[n % 8]), ""), (f"pleat {'abcdefgh'[n % 8] * 3}", ""),
            (f"{60000 + n % 999}", ""),
        ]  # fmt: skip
    return asked


def p95(taken: list[float]) -> float:
    return quantiles(taken, n=20)[-1]


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


@pytest.mark.parametrize("count", [2_000, 100_000])
def test_answers_are_right_and_their_p95_is_noted(
    count: int, ratio: Callable[[str, float, float], float]
) -> None:
    media = [MediaFactory(name=f"Pleat {letter * 3}") for letter in "abcdefgh"]
    fill_s = seconds(lambda: fill(count, media))
    ratio(f"look-up texts of {count} slots, against making the slots", seconds(lambda: refresh(NOW)), fill_s)
    asked, taken = questions(count), []
    for typed, first in asked:
        began = time.perf_counter()
        answers = [slot.name for slot in look_up(typed, NOW)]
        taken.append(time.perf_counter() - began)
        assert answers, typed
        assert not first or answers[0] == first, typed
    names = [f"KB-{n * 7919 % count:06d}" for n in range(200)]
    bare = p95([seconds(lambda name=name: FilterSlot.objects.get(name=name)) for name in names])
    ratio(f"look-up p95, {count} slots, against a bare indexed query's p95", p95(taken), bare)
    typed = [f"{family(n)[:-2]}{family(n)[-1]}{family(n)[-2]} {STREETS[n % 10]}" for n in range(1, 40)]
    assert all(nearest(one).exists() for one in typed)
    ratio(
        f"nearest p95, {count} slots, against the same",
        p95([seconds(lambda one=one: list(nearest(one))) for one in typed]),
        bare,
    )
