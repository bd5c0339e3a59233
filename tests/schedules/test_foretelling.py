"""Promises of readings: from facts of their own day only, once, and honest where there is none."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from equipment.models import Reading
from schedules.foretelling import foretell_readings
from schedules.models import Foretold
from shared.units import PA_PER_INWC
from tests.schedules.planning.conftest import MEDIA, POINTS, SLOT

NOW = datetime(2026, 5, 12, 15, tzinfo=UTC)
Importing = Callable[..., Any]


def given(
    importing: Importing, readings: list[tuple[str, float]], changes: tuple[str, ...] = (), **slot: Any
) -> None:
    rows = [
        {"filter_slot": "hall", "taken_at": f"{at}T10:00", "filter_drop_inwc": inwc} for at, inwc in readings
    ]
    told = [{"filter_slot": "hall", "changed_on": on} for on in changes]
    sheets = {"changes": told} if told else {}
    report = importing(media=MEDIA, media_points=POINTS, installed=[SLOT | slot], readings=rows, **sheets)
    assert not report.faults, list(report.lines())


@pytest.mark.django_db
def test_a_reading_is_promised_from_four_weeks_before(importing: Importing) -> None:
    given(importing, [("2026-04-15", 0.13)])
    assert foretell_readings(NOW) == 1
    row = Foretold.objects.get()
    assert (row.as_of, row.days, row.merv) == (date(2026, 3, 18), 28, 8)
    assert row.p10_pa < row.p50_pa < row.p90_pa
    assert row.read_pa == pytest.approx(0.13 * PA_PER_INWC, rel=1e-3)
    assert 0.10 * PA_PER_INWC < row.p50_pa < 0.30 * PA_PER_INWC


@pytest.mark.django_db
def test_what_was_learned_after_the_as_of_day_moves_no_promise(importing: Importing) -> None:
    given(importing, [("2026-04-15", 0.13)])
    foretell_readings(NOW)
    before = Foretold.objects.values_list("p10_pa", "p50_pa", "p90_pa").get()
    Foretold.objects.all().delete()
    given(importing, [("2026-04-15", 0.13), ("2026-03-25", 0.30), ("2026-05-02", 0.02)])
    foretell_readings(NOW)
    reading = Reading.objects.get(taken_at__date=date(2026, 4, 15))
    row = Foretold.objects.get(reading=reading)
    assert (row.p10_pa, row.p50_pa, row.p90_pa) == before


@pytest.mark.django_db
def test_an_earlier_reading_is_heard(importing: Importing) -> None:
    given(importing, [("2026-04-15", 0.13)])
    foretell_readings(NOW)
    alone = Foretold.objects.get().p50_pa
    Foretold.objects.all().delete()
    given(importing, [("2026-04-15", 0.13), ("2026-03-10", 0.30)])
    foretell_readings(NOW)
    assert Foretold.objects.get(reading__taken_at__date=date(2026, 4, 15)).p50_pa > alone


@pytest.mark.django_db
def test_a_second_run_does_nothing(importing: Importing) -> None:
    given(importing, [("2026-04-15", 0.13), ("2026-02-01", 0.11)])
    assert foretell_readings(NOW) == 2
    assert foretell_readings(NOW) == 0
    assert Foretold.objects.count() == 2


@pytest.mark.django_db
def test_the_newest_come_first_and_so_many_at_a_time(importing: Importing) -> None:
    given(importing, [("2026-04-15", 0.13), ("2026-02-01", 0.11)])
    assert foretell_readings(NOW, at_most=1) == 1
    assert Foretold.objects.get().reading.taken_at.date() == date(2026, 4, 15)


@pytest.mark.django_db
def test_a_young_filter_is_promised_from_the_day_it_went_in(importing: Importing) -> None:
    given(importing, [("2026-04-15", 0.13)], changes=("2026-04-05",))
    foretell_readings(NOW)
    row = Foretold.objects.get()
    assert (row.as_of, row.days) == (date(2026, 4, 5), 10)
    assert row.p50_pa < 0.13 * PA_PER_INWC


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("slot", "at", "why"),
    [
        ({"fitted_on": ""}, "2026-04-15", "start"),
        ({}, "2026-01-01", "same_day"),
        ({"media": ""}, "2026-04-15", "no_drop"),
        ({"design_airflow_cfm": ""}, "2026-04-15", "no_drop"),
    ],
)
def test_where_nothing_can_be_promised_the_row_says_why(
    importing: Importing, slot: dict[str, str], at: str, why: str
) -> None:
    given(importing, [(at, 0.13)], **slot)
    assert foretell_readings(NOW) == 1
    row = Foretold.objects.get()
    assert (row.why_not, row.p50_pa) == (why, None)
    assert foretell_readings(NOW) == 0
