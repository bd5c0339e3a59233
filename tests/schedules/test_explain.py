"""Why this date, in words."""

from datetime import date
from typing import Any

import pytest

from equipment.models import FilterSlot
from schedules.explain import explain
from schedules.models import Plan, Policy

TODAY = date(2026, 5, 12)
INWC = 249.0889


def why(now_inwc: float, *, policy: Policy | None = None, **more: Any) -> str:
    plan = Plan(
        due_on=date(2026, 7, 1),
        as_of=TODAY,
        reason=more.pop("reason", Plan.Reason.RISK),
        life_began_on=date(2026, 2, 1),
        run_hours=1234.4,
        clean_drop_pa=0.10 * INWC,
        drop_now_pa=now_inwc * INWC,
        limit_drop_pa=0.20 * INWC,
        **more,
    )
    return explain(FilterSlot(), plan, TODAY, policy or Policy(accepted_risk=0.2)).why


def test_a_loading_filter_is_told_as_a_share_of_what_the_blower_can_spare() -> None:
    said = why(0.15)
    assert said.startswith("Your fan has run about 1,234 hours since the last change")
    assert "about 50 % of the pressure" in said
    assert "now 0.15 in. w.c., limit 0.20 in. w.c." in said
    assert said.endswith("20 in 100.")
    assert ".." not in said


def test_just_after_a_change_nothing_is_said_of_dust_that_is_not_there() -> None:
    said = why(0.102)
    assert said.startswith("A fresh filter has been in since 1 February 2026.")
    assert " % of the pressure" not in said


def test_where_waiting_is_weighed_the_filters_own_chance_is_told_and_what_it_means() -> None:
    said = why(0.15, policy=Policy(late_days=9), accepted_risk=0.083)
    assert "reaches 8 in 100. From then on, leaving it in would risk more than a change costs." in said


def test_where_no_change_pays_the_calendar_is_not_said_to_wait_for_slow_dust() -> None:
    fast = {"reason": Plan.Reason.CALENDAR, "notes": ["loads_fast"], "p50_on": date(2026, 2, 9)}
    said = why(0.31, policy=Policy(late_days=9), **fast)
    assert said.startswith("A filter fills here sooner than changes could follow")
    assert "150 days" in said
    assert "sooner than" not in why(0.31, **fast)


@pytest.mark.parametrize("drop", [0.2, 0.31])
def test_past_the_limit_no_chance_is_told(drop: float) -> None:
    said = why(drop)
    assert "used up what your blower can spare" in said
    assert "in 100" not in said


def test_least_cost_is_said_to_have_no_say_without_a_price_and_not_with_one() -> None:
    plan = Plan(due_on=date(2026, 7, 1), reason=Plan.Reason.CALENDAR, life_began_on=date(2026, 2, 1))
    without, priced = (
        explain(FilterSlot(), plan, TODAY, Policy(electricity_price_kwh=price)) for price in (None, 0.17)
    )
    assert any("electricity is not weighed" in line for line in without.assumed)
    assert not any("electricity is not weighed" in line for line in priced.assumed)
