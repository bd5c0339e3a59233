"""Why this date, in words."""

from datetime import date
from typing import Any

import pytest

from equipment.models import FilterSlot, System
from schedules.explain import explain, state_word, sureness
from schedules.models import Plan, Policy

TODAY = date(2026, 5, 12)
INWC = 249.0889


def why(now_inwc: float, *, policy: Policy | None = None, **more: Any) -> str:
    plan = Plan(
        due_on=date(2026, 7, 1),
        as_of=TODAY,
        reason=more.pop("reason", Plan.Reason.RISK),
        life_began_on=date(2026, 2, 1),
        run_hours=more.pop("run_hours", 1234.4),
        clean_drop_pa=0.10 * INWC,
        drop_now_pa=now_inwc * INWC,
        limit_drop_pa=0.20 * INWC,
        **more,
    )
    return explain(FilterSlot(), plan, TODAY, policy or Policy(accepted_risk=0.2)).why


BUDGET = ["limit_budget"]


@pytest.mark.parametrize("notes", [[], ["limit_twice_clean"], ["limit_given"], ["fitted_unknown"]])
@pytest.mark.parametrize("now", [0.102, 0.15, 0.2])
def test_only_a_limit_that_the_blower_sets_is_told_as_what_it_can_spare(now: float, notes: list[str]) -> None:
    assert "blower" not in why(now, notes=notes)
    assert "limit" in why(now, notes=notes)
    if now > 0.11 or not notes or notes[0] != "fitted_unknown":
        assert "your blower can spare" in why(now, notes=[*notes, *BUDGET])


def test_nothing_is_called_fresh_whose_day_is_not_known() -> None:
    said = why(0.102, notes=["fitted_unknown", *BUDGET])
    assert said.startswith("This filter has been on record since 1 February 2026.")
    assert "fresh" not in said


def test_a_loading_filter_is_told_as_a_share_of_the_way_to_its_limit() -> None:
    assert "brought the filter about 50 % of the way to its limit here (now 0.15 in. w.c., " in why(0.15)
    assert "first recorded, and dust has brought it about 50 %" in why(0.15, notes=["fitted_unknown"])


def test_a_loading_filter_is_told_as_a_share_of_what_the_blower_can_spare() -> None:
    said = why(0.15, notes=BUDGET)
    assert said.startswith("Your fan has run about 1,234 hours since the last change")
    assert "about 50 % of the pressure" in said
    assert "now 0.15 in. w.c., limit 0.20 in. w.c." in said
    assert said.endswith("20 in 100.")
    assert ".." not in said


def test_just_after_a_change_nothing_is_said_of_dust_that_is_not_there() -> None:
    for notes in ([], BUDGET):
        said = why(0.102, notes=notes)
        assert said.startswith("A fresh filter has been in since 1 February 2026.")
        assert " % of the " not in said


def test_where_waiting_is_weighed_the_filters_own_chance_is_told_and_what_it_means() -> None:
    said = why(0.15, policy=Policy(late_days=9), accepted_risk=0.083)
    assert (
        "comes to 8 in 100. From then on, by our reckoning, waiting risks more than a change is worth."
        in said
    )
    # At one half nothing was weighed any more.
    assert why(0.15, policy=Policy(late_days=9), accepted_risk=0.5).endswith("50 in 100.")


def test_only_what_fills_after_its_day_is_said_to_load_slowly() -> None:
    by_calendar = {"reason": Plan.Reason.CALENDAR, "p10_on": date(2026, 3, 1)}
    assert why(0.12, p50_on=date(2026, 9, 1), **by_calendar).startswith("It loads slowly here")
    assert why(0.12, p50_on=None, **by_calendar).startswith("It loads slowly here")
    stood = why(0.12, p50_on=None, run_hours=0.0, **by_calendar)
    assert stood == "By its log the fan has not run, so the calendar decides: 150 days."
    assert "log" not in why(0.12, p50_on=None, run_hours=0.0, notes=["no_log"], **by_calendar)
    said = why(0.31, p50_on=date(2026, 2, 9), **by_calendar)
    assert said == "It may be full before this day, but by our rules it stays in for 150 days."


def test_a_desks_shortest_interval_is_told_where_it_sets_the_day() -> None:
    said = why(0.15, policy=Policy(shortest_days=150))
    assert said.endswith("By our rules no filter is changed sooner than 150 days after the last change.")
    assert "in 100" not in said
    assert "in 100" in why(0.15, policy=Policy(shortest_days=30))


def test_hours_of_a_filter_of_unknown_start_count_from_the_first_record() -> None:
    assert "since this filter was first recorded" in why(0.15, notes=["fitted_unknown"])
    assert "since this filter was first recorded" in why(0.3, notes=["fitted_unknown"])


def test_a_span_that_begins_today_is_told_as_one_that_may_be_behind() -> None:
    span = {"p10_on": TODAY, "p50_on": date(2026, 5, 20), "p90_on": date(2026, 7, 1)}
    plan = Plan(as_of=TODAY, **span)
    assert sureness(plan, TODAY) == (
        "It may have reached its limit already; we expect it by 1 July 2026, most likely around 20 May 2026."
    )
    plan.p90_on = None
    assert sureness(plan, TODAY).endswith("how late is hard to tell.")
    plan.p50_on = TODAY
    assert sureness(plan, TODAY) == "It is probably past its limit already."
    assert state_word(Plan(due_on=date(2026, 9, 1), p50_on=TODAY), TODAY, 10) == ("likely full", "past")


@pytest.mark.parametrize("drop", [0.2, 0.31])
def test_past_the_limit_no_chance_is_told(drop: float) -> None:
    said = why(drop, notes=BUDGET)
    assert "used up what your blower can spare" in said
    assert "in 100" not in said


def test_least_cost_is_said_to_have_no_say_without_a_price_and_not_with_one() -> None:
    plan = Plan(due_on=date(2026, 7, 1), reason=Plan.Reason.CALENDAR, life_began_on=date(2026, 2, 1))
    without, priced = (
        explain(FilterSlot(), plan, TODAY, Policy(electricity_price_kwh=price)) for price in (None, 0.17)
    )
    assert any("electricity is not weighed" in line for line in without.assumed)
    assert not any("electricity is not weighed" in line for line in priced.assumed)


def test_a_fixed_speed_fan_is_said_to_have_no_weighing_though_a_price_is_set() -> None:
    plan = Plan(due_on=date(2026, 7, 1), reason=Plan.Reason.CALENDAR, life_began_on=date(2026, 2, 1))
    for blower, told in (("fixed_speed", True), ("constant_airflow", False)):
        slot = FilterSlot(system=System(pk=1, blower=blower))
        said = explain(slot, plan, TODAY, Policy(electricity_price_kwh=0.17)).assumed
        assert any("a fixed-speed fan draws less" in line for line in said) == told
