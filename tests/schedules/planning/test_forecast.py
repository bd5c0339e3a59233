"""The forecast on sheets: every rule of the fixed surface, and no figure that cannot be."""

import csv
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.core.management import execute_from_command_line
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.models import System
from schedules.gather import Gatherer
from schedules.models import Policy
from schedules.planning.facts import Settings
from schedules.planning.forecast import fit_prior, forecast
from schedules.planning.interval import NEVER, Reason
from tests.schedules.planning.conftest import MEDIA, POINTS, SLOT
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot, with_weather

Row = Callable[..., dict[str, str]]
QUANTILES = ("p10_on", "p50_on", "p90_on")
RATED = {"rated_external_static_inwc": 0.5}
NOTHING_KNOWN = {"media": "", "fitted_on": "", "design_airflow_cfm": ""}


def hours(value: float, first: str = "2025-11-01", days: int = 193) -> list[dict[str, object]]:
    start = date.fromisoformat(first)
    return [
        {"system": "air", "date": (start + timedelta(days=day)).isoformat(), "fan_hours": value}
        for day in range(days)
    ]


def reading(at: str, inwc: float, **more: object) -> dict[str, object]:
    return {"filter_slot": "hall", "taken_at": at, "filter_drop_inwc": inwc, **more}


def change(on: str, **more: object) -> dict[str, object]:
    return {"filter_slot": "hall", "changed_on": on, **more}


def test_a_later_fact_changes_no_byte(forecast_file: Callable[..., bytes]) -> None:
    """Slots, runtime, weather, readings and changes as of 12 May; then the same with all that came after."""
    other = SLOT | {"site": "cottage", "system": "cot", "filter_slot": "cot", "fitted_on": ""}
    places = {"weather_station": "ord"}
    weather = [
        {"station": "ord", "date": (date(2025, 6, 1) + timedelta(days=day)).isoformat(),
         "mean_temp_f": 30 + day % 40}
        for day in range(500)
    ]  # fmt: skip
    until = [row for row in weather if row["date"] <= "2026-05-12"]
    known = forecast_file(
        media=MEDIA, media_points=POINTS, stations=[{"station": "ord", "latitude": 42, "longitude": -88}],
        weather=until, installed=[SLOT | places, other | places], runtime=hours(6),
        readings=[reading("2026-03-01T10:00", 0.13), reading("2026-05-12T23:59", 0.16)],
        changes=[{"filter_slot": "cot", "changed_on": "2026-05-12"}],
    )  # fmt: skip
    later = forecast_file(
        at=datetime(2026, 10, 20, tzinfo=UTC),
        weather=weather,
        runtime=hours(20, "2026-05-13", 60),
        readings=[reading("2026-05-13T00:00", 0.9), reading("2026-06-01T10:00", 0.05)],
        changes=[change("2026-05-13", media="short"), {"filter_slot": "cot", "changed_on": "2026-06-01"}],
    )
    assert later == known
    assert forecast_file("2026-06-10") != known


def test_rows_are_sorted_and_whole(forecast_file: Callable[..., bytes]) -> None:
    names = ["b-2", "a-1", "B-1", "ä-1", "a-10"]
    rows = [SLOT | {"system": f"s-{name}", "filter_slot": name} for name in names]
    content = forecast_file(media=MEDIA, media_points=POINTS, installed=rows).decode()
    header, *lines = csv.reader(content.splitlines())
    assert header == [
        "filter_slot", "due_on", "p10_on", "p50_on", "p90_on", "reason", "drop_now_inwc", "limit_drop_inwc",
        "run_hours",
    ]  # fmt: skip
    assert [line[0] for line in lines] == sorted(names)
    assert {len(line) for line in lines} == {9}


def test_no_record_at_all_has_no_date(forecast_of: Row) -> None:
    row = forecast_of(NOTHING_KNOWN | {"media": "pleat", "design_airflow_cfm": 400})
    assert (row["due_on"], row["reason"]) == ("", "unknown")
    assert [row[name] for name in QUANTILES] == ["", "", ""]
    assert row["limit_drop_inwc"] == "0.2000"


def test_without_a_fitting_day_the_cap_counts_from_the_first_record(forecast_of: Row) -> None:
    """10 February and 183 days: 12 August."""
    row = forecast_of(
        NOTHING_KNOWN, readings=[reading("2026-02-10T10:00", 0.1), reading("2026-03-10T10:00", 0.1)]
    )
    assert (row["due_on"], row["reason"]) == ("2026-08-12", "calendar")


def test_without_a_medium_there_is_no_limit_and_the_calendar_decides(forecast_of: Row) -> None:
    """1 January and 183 days: 3 July."""
    row = forecast_of({"media": ""})
    assert (row["due_on"], row["reason"], row["limit_drop_inwc"]) == ("2026-07-03", "calendar", "")
    assert [row[name] for name in QUANTILES] == ["", "", ""]


def test_a_date_may_lie_in_the_past(forecast_of: Row) -> None:
    assert forecast_of({"media": "", "fitted_on": "2025-01-01"})["due_on"] == "2025-07-03"


@pytest.mark.parametrize("day", ["2026-03-01", "2026-03-01T00:00", "2026-03-01T09:30", "2026-03-01T23:59"])
def test_a_change_day_counts_itself_and_the_cap(forecast_of: Row, day: str) -> None:
    """1 March and 183 days: 31 August."""
    assert forecast_of({"media": ""}, changes=[change(day)])["due_on"] == "2026-08-31"


@pytest.mark.parametrize(
    ("slot", "due", "reason"),
    [
        ({"media": "washing"}, "2026-04-03", "calendar"),  # 92 days
        ({"media": "block", "nominal_size": "16x25x4"}, "2027-01-01", "calendar"),  # 365 days
        ({"media": "", "nominal_size": "16x25x4"}, "2027-01-01", "calendar"),
        ({"media": "", "nominal_size": "16x25x2"}, "2026-07-03", "calendar"),
        ({"media": "short"}, "2026-03-02", "medium"),  # 60 days
    ],
)
def test_caps_by_kind_and_depth(forecast_of: Row, slot: dict[str, object], due: str, reason: str) -> None:
    """A limit that nobody reaches leaves the caps alone."""
    row = forecast_of(slot | {"limit_drop_inwc": 5, "design_airflow_cfm": 50})
    assert (row["due_on"], row["reason"]) == (due, reason)


def test_the_desk_may_set_its_own_cap(forecast_of: Row) -> None:
    Policy.objects.create(pk=1, cap_thin_days=30)
    assert forecast_of({"media": ""})["due_on"] == "2026-01-31"


def test_a_price_of_energy_lets_the_cost_decide(forecast_of: Row) -> None:
    """The closed form is in tests/published/test_least_cost.py; here dearer energy asks for it sooner, by
    about the root of its price, as long as the drop rises nearly straight."""
    slot = {"blower": "constant_airflow", "limit_drop_inwc": 1, "fitted_on": "2026-05-12", "media": "priced"}
    policy = Policy.objects.create(pk=1, electricity_price_kwh=0.9)
    row = forecast_of(slot, runtime=hours(6))
    assert row["reason"] == "cost"
    cheap = (date.fromisoformat(row["due_on"]) - date(2026, 5, 12)).days
    policy.electricity_price_kwh = 3.6
    policy.save()
    row = forecast_of(slot, runtime=hours(6))
    assert row["reason"] == "cost"
    assert (date.fromisoformat(row["due_on"]) - date(2026, 5, 12)).days == pytest.approx(cheap / 2, rel=0.15)


def test_without_a_price_of_the_filter_cost_says_nothing(forecast_of: Row) -> None:
    Policy.objects.create(pk=1, electricity_price_kwh=0.9)
    assert forecast_of({"blower": "constant_airflow", "limit_drop_inwc": 1})["reason"] != "cost"


def test_nothing_left_by_the_budget_means_today(forecast_of: Row) -> None:
    row = forecast_of({"return_budget_inwc": 0.05})
    assert row["limit_drop_inwc"] == "0.1000"
    assert [row[name] for name in QUANTILES] == ["2026-05-12"] * 3
    assert row["due_on"] <= "2026-05-12"
    assert row["reason"] == "risk"


def test_a_change_today_starts_from_nought(forecast_of: Row) -> None:
    row = forecast_of(changes=[change("2026-05-12")], readings=[reading("2026-05-12T10:00", 0.19)])
    assert (row["run_hours"], row["drop_now_inwc"]) == ("0.0", "0.1000")
    assert row["due_on"] > "2026-05-12"


@pytest.mark.parametrize(
    ("changed", "dealt"),
    [
        ("2026-05-02", [2, 1]),
        ("2026-05-02T09:30", [1, 2]),
        ("2026-05-02T10:00", [2, 1]),  # read at the very instant: the old filter's
    ],
)
def test_readings_of_the_day_of_a_change_belong_to_the_filter_removed(
    forecast_of: Row, changed: str, dealt: list[int]
) -> None:
    """Unless the change carries a time: then what was read after it is the new filter's."""
    times = ("2026-05-02T09:00", "2026-05-02T10:00", "2026-05-03T00:01")
    forecast_of(changes=[change(changed)], readings=[reading(at, 0.15) for at in times])
    (slot,) = Gatherer(date(2026, 5, 12)).gather([System.objects.get().pk]).slots
    assert [len(life.readings) for life in slot.lives] == dealt


@pytest.mark.parametrize(
    ("cells", "limit"),
    [
        ({}, "0.2000"),
        ({"limit_drop_inwc": 0.35}, "0.3500"),
        ({"limit_drop_inwc": 0.35, "return_budget_inwc": 0.15}, "0.3500"),
        ({"return_budget_inwc": 0.15}, "0.1500"),
        ({"return_budget_inwc": 0.25, "return_static_inwc": 0.1}, "0.1500"),
        ({"return_budget_inwc": 0.9}, "0.2000"),
        ({"rated_external_static_inwc": 0.5}, "0.2000"),
        (
            {"rated_external_static_inwc": 0.5, "return_static_inwc": 0.1, "supply_static_inwc": 0.25},
            "0.1500",
        ),
        (
            {"rated_external_static_inwc": 0.5, "supply_static_inwc": 0.37, "return_budget_inwc": 0.12},
            "0.1200",
        ),
        ({"return_budget_inwc": 0.1}, "0.1000"),
        ({"return_budget_inwc": 0.1, "return_static_inwc": 0.3}, "0.1000"),
        ({"supply_static_inwc": 0.4, "return_static_inwc": 0.4}, "0.2000"),
    ],
)
def test_the_limit_of_the_drop(forecast_of: Row, cells: dict[str, object], limit: str) -> None:
    """The clean drop is 0.10 in. w.c. at 400 cfm."""
    assert forecast_of(cells)["limit_drop_inwc"] == limit


@pytest.mark.parametrize(
    ("cells", "cfm"),
    [
        ({"capacity_tons": 2}, 700),
        ({"capacity_tons": 2, "system_kind": "conventional"}, 700),
        ({"capacity_tons": 2, "system_kind": "high_velocity"}, 500),
        ({"capacity_tons": 2, "design_airflow_cfm": 800}, 800),
    ],
)
def test_design_airflow_comes_from_capacity_where_it_is_not_known(
    forecast_of: Row, cells: dict[str, object], cfm: float
) -> None:
    """Twice the clean drop, by the label's own exponent of log2(2.5)."""
    row = forecast_of({"design_airflow_cfm": ""} | cells)
    assert float(row["limit_drop_inwc"]) == pytest.approx(0.2 * (cfm / 400) ** np.log2(2.5), abs=1e-4)


def test_neither_airflow_nor_capacity_leaves_the_calendar(forecast_of: Row) -> None:
    row = forecast_of({"design_airflow_cfm": ""})
    assert (row["limit_drop_inwc"], row["drop_now_inwc"], row["reason"]) == ("", "", "calendar")


def test_slots_share_the_design_airflow_by_nominal_area(forecast_file: Callable[..., bytes]) -> None:
    """16x25 is twice 16x12.5: of 600 cfm it takes 400, which cost 0.10 in. w.c."""
    whole = SLOT | {"design_airflow_cfm": 600}
    half = whole | {"filter_slot": "half", "nominal_size": "16x12.5x1"}
    content = forecast_file(media=MEDIA, media_points=POINTS, installed=[whole, half])
    rows = {row["filter_slot"]: row for row in csv.DictReader(content.decode().splitlines())}
    assert rows["hall"]["limit_drop_inwc"] == "0.2000"
    assert float(rows["half"]["limit_drop_inwc"]) == pytest.approx(0.2 * 0.5 ** np.log2(2.5), abs=1e-4)


def test_a_label_with_one_point_has_the_usual_exponent(forecast_file: Callable[..., bytes]) -> None:
    """1.18: half the airflow costs 2 ** -1.18 of the drop."""
    points = [{"media": "pleat", "airflow_cfm": 800, "clean_drop_inwc": 0.25}]
    content = forecast_file(media=MEDIA, media_points=points, installed=[SLOT]).decode()
    (row,) = csv.DictReader(content.splitlines())
    assert float(row["limit_drop_inwc"]) == pytest.approx(0.5 * 2**-1.18, abs=1e-4)


def test_a_reading_at_another_airflow_is_carried_by_the_labels_own_exponent(
    forecast_file: Callable[..., bytes],
) -> None:
    """0.15 in. w.c. at 400 cfm is 0.375 at 800: the label's exponent gives 2.5 for twice the airflow."""
    seen = {"at": (0.15, 400), "twice": (0.375, 800), "plain": (0.15, ""), "uncarried": (0.375, 400)}
    content = forecast_file(
        media=MEDIA,
        media_points=POINTS,
        installed=[SLOT | {"system": name, "filter_slot": name} for name in seen],
        readings=[
            reading("2026-04-01T10:00", inwc, airflow_cfm=cfm) | {"filter_slot": name}
            for name, (inwc, cfm) in seen.items()
        ],
    )
    rows = {row.pop("filter_slot"): row for row in csv.DictReader(content.decode().splitlines())}
    assert rows["at"] == rows["twice"] == rows["plain"]
    assert rows["uncarried"] != rows["at"]


def test_run_hours_are_those_of_the_log_since_the_change(forecast_of: Row) -> None:
    """Six hours a day, changed at the end of 2 May: ten days to the end of 12 May."""
    row = forecast_of(runtime=hours(6), changes=[change("2026-05-02")])
    assert row["run_hours"] == "60.0"


def test_a_log_of_no_running_leaves_the_filter_clean(forecast_of: Row) -> None:
    row = forecast_of({"fitted_on": "2025-11-01"}, runtime=hours(0))
    assert (row["run_hours"], row["drop_now_inwc"]) == ("0.0", "0.1000")
    assert row["p50_on"] == "" or row["p50_on"] > "2026-08-01"


def test_more_running_brings_the_date_nearer(forecast_of: Row) -> None:
    lazy, busy = (forecast_of({"fitted_on": "2026-05-01"}, runtime=hours(value)) for value in (4, 16))
    assert busy["p50_on"] < lazy["p50_on"]


def stuck_at_one_number() -> list[dict[str, object]]:
    """A device that shows the same for a thousand minutes: so sure of one shape that others weigh nothing."""
    start = datetime(2026, 4, 1)
    return [reading((start + timedelta(minutes=n)).isoformat(), 0.45) for n in range(1000)]


def thousand_in_a_day() -> list[dict[str, object]]:
    start = datetime(2026, 4, 1)
    return [reading((start + timedelta(minutes=n)).isoformat(), 0.12 + n % 7 / 100) for n in range(1000)]


@pytest.mark.parametrize(
    "facts",
    [
        {"readings": thousand_in_a_day()},
        {"readings": stuck_at_one_number()},
        {"readings": [reading("2026-04-01T10:00", 0.1), reading("2026-04-01T11:00", 0.6)]},
        {"readings": [reading("2026-01-01T00:00", 5), reading("2026-05-12T23:59", 0)]},
        {"runtime": [*hours(5, "2024-01-01", 100), *hours(5, "2026-05-01", 12)]},
        {"runtime": hours(24), "readings": [reading("2026-05-01T10:00", 0.1)]},
        {"runtime": hours(0), "readings": [reading("2026-05-01T10:00", 0.4)]},
        {"changes": [change("2026-05-12"), change("2026-05-12T08:00"), change("2026-05-12T08:01")]},
        {"slot": {"limit_drop_inwc": 0.02}},
        {"slot": {"limit_drop_inwc": 5, "design_airflow_cfm": 1}},
        {"slot": {"design_airflow_cfm": 50_000}},
        {"slot": {"fitted_on": "1955-01-01"}},
        {"slot": {"fitted_on": "2026-05-12"}},
        {"slot": {"fitted_on": "2027-01-01"}},
        {"slot": {"fitted_on": "2027-01-01"}, "readings": [reading("2026-05-01T10:00", 0.1)]},
        {"slot": {"nominal_size": "90x90x1"}},
    ],
    ids=lambda facts: "+".join(facts),
)
def test_odd_facts_give_dates_in_order_and_no_figure_that_cannot_be(
    forecast_of: Row, facts: dict[str, Any]
) -> None:
    row = forecast_of(facts.pop("slot", None) if "slot" in facts else None,
                      **{name: rows for name, rows in facts.items() if name != "slot"})  # fmt: skip
    days = [row[name] for name in QUANTILES]
    assert [day or "9999" for day in days] == sorted(day or "9999" for day in days)
    assert all(not day or day >= "2026-05-12" for day in days)
    for name in ("drop_now_inwc", "limit_drop_inwc", "run_hours"):
        assert row[name] == "" or float(row[name]) >= 0
    # 2,500 Pa: no blower of a home draws more, however old the filter.
    assert row["drop_now_inwc"] == "" or float(row["drop_now_inwc"]) < 10.04
    assert row["reason"] in {"risk", "medium", "calendar", "cost", "unknown"}
    assert bool(row["due_on"]) == (row["reason"] != "unknown")


def test_a_limit_below_the_clean_drop_is_reached_already(forecast_of: Row) -> None:
    row = forecast_of({"limit_drop_inwc": 0.02})
    assert [row[name] for name in QUANTILES] == ["2026-05-12"] * 3


@pytest.mark.parametrize("day", ["12 May", "2026-02-30", "0026-05-12"])
def test_an_as_of_day_that_is_none_is_refused_in_a_sentence(
    tmp_path: Any, capsys: pytest.CaptureFixture[str], day: str
) -> None:
    with pytest.raises(SystemExit, match="2"):
        execute_from_command_line(["manage.py", "forecast", "--as-of", day, "--out", str(tmp_path / "x")])
    assert f"argument --as-of: “{day}” is not a" in capsys.readouterr().err


def test_before_a_filter_was_fitted_nothing_is_said_of_its_limit(forecast_of: Row) -> None:
    assert forecast_of({"fitted_on": "2026-01-01"}, as_of="2026-01-01")["limit_drop_inwc"]
    earlier = forecast_of({"fitted_on": "2026-01-01"}, as_of="2025-12-31")
    assert (earlier["limit_drop_inwc"], earlier["due_on"], earlier["reason"]) == ("", "", "unknown")


READ = st.lists(st.tuples(st.floats(0, 400), st.floats(0, 1300)), max_size=6)


@settings(deadline=None, max_examples=60)
@given(
    read=READ,
    days_in=st.floats(0, 400),
    log=st.lists(st.one_of(st.just(np.nan), st.floats(0, 25)), min_size=1, max_size=60),
    warm=st.lists(st.one_of(st.just(np.nan), st.floats(-60, 55)), min_size=1, max_size=60),
    limit=st.one_of(st.just(np.nan), st.floats(0.01, 1300)),
    known=st.booleans(),
)
def test_whatever_is_known_nothing_is_nan_that_should_not_be(
    read: list[tuple[float, float]],
    days_in: float,
    log: list[float],
    warm: list[float],
    limit: float,
    known: bool,
) -> None:
    facts = one_slot(readings=read, days_in=days_in, hours=np.array(log), log_days=len(log), limit_pa=limit,
                     began_known=known)  # fmt: skip
    result = forecast(with_weather(facts, np.array(warm)), Settings(energy_price_kwh=0.2))
    p10, p50, p90 = (int(days[0]) for days in (result.p10, result.p50, result.p90))
    assert AS_OF <= p10 <= p50 <= p90
    assert result.drop_now_pa[0] >= CLEAN_PA * (1 - 1e-9)
    assert result.run_hours[0] >= 0
    assert result.due[0] != NEVER


def test_no_change_is_asked_for_sooner_than_the_desk_allows() -> None:
    facts = one_slot(readings=[(2.0, 1.9 * CLEAN_PA), (5.0, 1.8 * CLEAN_PA)], days_in=20.0)
    soon = forecast(facts, Settings())
    held = forecast(facts, Settings(shortest_days=30))
    assert soon.due[0] < AS_OF + 5
    assert held.due[0] == AS_OF + 11  # went in at the start of the day 19 days before, 30 days on
    assert held.p50[0] == soon.p50[0]
    capped = forecast(one_slot(days_in=20.0, cap_days=25.0), Settings(shortest_days=300))
    assert capped.due[0] == AS_OF + 6


def test_where_late_days_are_weighed_each_filter_has_its_own_risk() -> None:
    quick, slow = one_slot(limit_pa=1.15 * CLEAN_PA), one_slot(limit_pa=3 * CLEAN_PA)
    found = [forecast(facts, Settings(late_days=9.0)) for facts in (quick, slow)]
    assert found[0].accepted[0] > 2 * found[1].accepted[0]
    for facts, one in zip((quick, slow), found, strict=True):
        assert one.due[0] == forecast(facts, Settings(float(one.accepted[0]))).due[0]


@given(late=st.floats(1.0, 100.0), days_in=st.floats(1.0, 400.0), ratio=st.floats(1.05, 4.0))
def test_the_less_a_late_day_weighs_the_later_the_date(late: float, days_in: float, ratio: float) -> None:
    facts = one_slot(days_in=days_in, limit_pa=ratio * CLEAN_PA)
    calm, careful = (forecast(facts, Settings(late_days=days)) for days in (1.5 * late, late))
    assert careful.due[0] <= calm.due[0]
    assert careful.accepted[0] <= calm.accepted[0]


@pytest.mark.parametrize("limit", [0.9, 1.0, 1.002])
def test_no_rule_lets_a_filter_stay_that_is_full_at_once(limit: float) -> None:
    facts = one_slot(limit_pa=limit * CLEAN_PA, cap_days=183.0)
    for settings_ in (Settings(late_days=30.0), Settings()):
        found = forecast(facts, settings_)
        assert found.reason[0] == Reason.RISK
        assert found.due[0] <= AS_OF


@given(
    days=st.floats(2.0, 60.0),
    ratio=st.floats(1.02, 3.0),
    nearer=st.floats(1.0, 3.0),
    days_in=st.floats(1, 200),
)
def test_where_waiting_is_weighed_a_nearer_limit_is_never_a_later_date(
    days: float, ratio: float, nearer: float, days_in: float
) -> None:
    far = one_slot(limit_pa=ratio * CLEAN_PA, days_in=days_in)
    near = one_slot(limit_pa=(1.0 + (ratio - 1.0) / nearer) * CLEAN_PA, days_in=days_in)
    found = [int(forecast(facts, Settings(late_days=days)).due[0]) for facts in (near, far)]
    # A day is a whole number, and the chance runs straight between the ages looked at.
    assert found[0] <= found[1] + 1 + 0.02 * (found[1] - AS_OF + days_in)


def test_where_waiting_is_weighed_a_day_told_stands_as_it_comes_nearer() -> None:
    told = []
    for after in range(0, 40, 3):
        facts = one_slot(days_in=30.0 + after, limit_pa=1.6 * CLEAN_PA)
        told.append(int(forecast(facts, Settings(late_days=9.0)).due[0]) - AS_OF + after)
    assert max(told) - min(told) <= 6


def test_an_unknown_start_gives_a_filter_that_was_read_past_its_limit_no_half_year() -> None:
    read = [(1.0, 2.4 * CLEAN_PA)]
    for days in (5.0, 10.0, 20.0):
        found = forecast(one_slot(days_in=1.5, began_known=False, readings=read), Settings(late_days=days))
        assert found.due[0] <= AS_OF + 14


def test_a_filter_that_filled_fast_is_still_said_to_long_after() -> None:
    def read(began: float) -> list[tuple[float, float]]:
        return [(began - 10.0, 1.25 * CLEAN_PA), (began - 20.0, 1.6 * CLEAN_PA)]

    for days_in in (22.0, 60.0):
        past = [(began, read(began)) for began in (160.0, 110.0)]
        facts = one_slot(days_in=days_in, readings=read(days_in), past=past, limit_pa=1.3 * CLEAN_PA)
        assert forecast(facts, Settings()).full_days[0] < 30
    assert forecast(one_slot(days_in=60.0), Settings()).full_days[0] > 100


@pytest.mark.parametrize(
    "rules",
    [Settings(), Settings(energy_price_kwh=0.3), Settings(late_days=9.0)],
    ids=["risk", "price", "late"],
)
def test_of_no_filters_nothing_is_told(rules: Settings) -> None:
    one = one_slot(log_days=40)

    def none_of(rows: Any) -> Any:
        columns = ((name, value) for name, value in vars(rows).items() if isinstance(value, np.ndarray))
        return replace(rows, **{name: value[:0] for name, value in columns})

    parts = {name: none_of(getattr(one, name)) for name in ("systems", "slots", "lives", "readings")}
    found = forecast(replace(one, **parts), rules)
    assert found.due.shape == found.p50.shape == (0,)
    assert found.odd == []
    assert fit_prior(replace(one, **parts)).learned_from == 0
