"""The drawings' dates and numbers."""

from datetime import date, timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot, Reading, System
from equipment.record import record_reading
from schedules import drawings, due
from schedules.drawings import month_marks
from schedules.models import Plan
from tests.factories import FilterSlotFactory, MediaFactory, MediaPointFactory, SystemFactory
from tests.factories.clock import NOW, TODAY


@pytest.mark.parametrize(
    ("first", "last", "at_most", "expected"),
    [
        (date(2026, 5, 1), date(2026, 7, 20), 3, ["May 2026", "Jun 2026", "Jul 2026"]),
        (date(2026, 5, 2), date(2026, 7, 20), 3, ["Jun 2026", "Jul 2026"]),
        (date(2026, 9, 6), date(2027, 7, 4), 6, ["Nov 2026", "Jan 2027", "Mar 2027", "May 2027", "Jul 2027"]),
        (date(2026, 9, 6), date(2027, 7, 4), 3, ["Jan 2027", "Jul 2027"]),
        (date(2026, 9, 6), date(2029, 1, 30), 3, ["Jan 2027", "Jan 2028", "Jan 2029"]),
        (date(2026, 5, 2), date(2026, 5, 20), 3, []),
    ],
)
def test_the_dates_below_a_curve_are_few_first_days_of_months(
    first: date, last: date, at_most: int, expected: list[str]
) -> None:
    marks = month_marks(first.toordinal(), last.toordinal() + 0.5, at_most)
    assert [mark.label for mark in marks] == expected
    assert all(first.toordinal() <= mark.at <= last.toordinal() for mark in marks)


@pytest.fixture
def beside(db: None) -> FilterSlot:
    """A slot never read, in a home whose other system is read and loads fast; both are planned."""
    media = MediaFactory()
    for airflow in (0.2, 0.4):
        MediaPointFactory(media=media, airflow_m3s=airflow, clean_drop_pa=100 * airflow)
    fitted: dict[str, Any] = {"first_media": media, "fitted_on": TODAY - timedelta(days=90)}
    slot = FilterSlotFactory(**fitted)
    other = FilterSlotFactory(**fitted, system=SystemFactory(site=slot.system.site))
    System.objects.update(design_airflow_m3s=0.2)
    for ago in (80, 60, 40, 20):
        drop = 20.0 + (90 - ago)
        record_reading(Reading(slot=other, taken_at=NOW - timedelta(days=ago), filter_drop_pa=drop), NOW)
    due.replan(NOW)
    found: FilterSlot = FilterSlot.objects.get(pk=slot.pk)
    return found


def test_the_drawing_hears_of_the_homes_other_system_as_the_plan_does(
    beside: FilterSlot, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, drawn, path = Plan.objects.get(slot=beside), [], drawings.life_path

    def noted(facts: Any, result: Any, place: int, last_day: int) -> Any:
        drawn.append((result.drop_now_pa[place], date.fromordinal(result.p50[place])))
        return path(facts, result, place, last_day)

    monkeypatch.setattr(drawings, "life_path", noted)
    assert drawings.filter_drawings(beside, plan, NOW, "us") is not None
    assert drawn == [(pytest.approx(plan.drop_now_pa), plan.p50_on)]
