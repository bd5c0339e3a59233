"""The verdict, asked in the trade's units and compared with figures worked by hand."""

from typing import Any

import numpy as np
import pytest

from equipment.airside.media import LabelCurve
from equipment.verdict import Answer, Question, judge
from shared.units import M3S_PER_CFM, METRE_PER_INCH, MS_PER_FPM, PA_PER_INWC, W_PER_TON

CFM, INWC = M3S_PER_CFM, PA_PER_INWC


def inches(*sides: float) -> tuple[float, float, float]:
    width, height, depth = (side * METRE_PER_INCH for side in sides)
    return width, height, depth


def curve(*points: tuple[float, float]) -> LabelCurve:
    table = np.array(pairs(*points))
    return LabelCurve(table[:, 0], table[:, 1])


def pairs(*points: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    return tuple((cfm * CFM, inwc * INWC) for cfm, inwc in points)


def asked(**changes: Any) -> Answer:
    """20x25x1 at 800 cfm (230.4 fpm), clean drop 0.10, return budget 0.30, return static 0.05."""
    figures: dict[str, Any] = {
        "slot_size": inches(20, 25, 1),
        "medium_size": inches(20, 25, 1),
        "curve": curve((400, 0.05), (800, 0.10), (1200, 0.15)),
        "design_airflow_m3s": 800 * CFM,
        "return_budget_pa": 0.30 * INWC,
        "return_static_pa": 0.05 * INWC,
        "supply_static_pa": 0.10 * INWC,
    }
    return judge(Question(**(figures | changes)))


def test_a_medium_that_leaves_room_for_dust_fits_with_the_figures_named() -> None:
    answer = asked()
    assert answer.verdict == "fits"
    assert answer.face_velocity_ms == pytest.approx(800 / (500 / 144) * MS_PER_FPM)
    assert answer.clean_drop_pa == pytest.approx(0.10 * INWC)
    assert answer.airflow_m3s == pytest.approx(800 * CFM)
    assert answer.airflow_loss_percent == pytest.approx(0)
    assert answer.drop_left_pa == pytest.approx(0.15 * INWC)
    assert answer.why == (
        "clean drop of 0.100 in. w.c. at 800 cfm leaves 0.150 in. w.c. of the budget for dust; "
        "face velocity is 230.4 fpm at design airflow"
    )


def test_the_smaller_of_two_budgets_counts() -> None:
    assert asked(rated_external_static_pa=0.50 * INWC).drop_left_pa == pytest.approx(0.15 * INWC)
    assert asked(rated_external_static_pa=0.35 * INWC).drop_left_pa == pytest.approx(0.10 * INWC)
    only = asked(return_budget_pa=None, rated_external_static_pa=0.35 * INWC)
    assert only.drop_left_pa == pytest.approx(0.10 * INWC)


# Refusals.


def test_height_and_width_are_interchangeable() -> None:
    assert asked(medium_size=inches(25, 20, 1)).verdict == "fits"


def test_another_size_is_refused() -> None:
    answer = asked(medium_size=inches(16, 25, 1))
    assert answer.verdict == "refuse"
    assert answer.why == "size differs: 16x25 against the slot's 20x25"


def test_another_depth_is_refused() -> None:
    answer = asked(medium_size=inches(20, 25, 4))
    assert answer.verdict == "refuse"
    assert answer.why == "depth differs: 4 in against the slot's 1 in"


def test_a_clean_drop_beyond_the_budget_is_refused() -> None:
    answer = asked(return_budget_pa=0.12 * INWC)
    assert answer.verdict == "refuse"
    assert answer.why == "its clean drop of 0.100 in. w.c. is 0.030 in. w.c. more than the budget leaves"


def test_a_budget_used_up_to_the_last_is_care_not_refusal() -> None:
    assert asked(return_budget_pa=0.15 * INWC).verdict == "fits_with_care"


@pytest.mark.parametrize(("high_velocity", "floor"), [(True, 250), (False, 350)])
def test_the_floor_itself_is_enough_and_a_cfm_less_is_refused(high_velocity: bool, floor: int) -> None:
    kind = {"high_velocity": high_velocity, "capacity_w": 2.5 * W_PER_TON}
    assert asked(**kind, design_airflow_m3s=2.5 * floor * CFM).verdict != "refuse"
    answer = asked(**kind, design_airflow_m3s=(2.5 * floor - 1) * CFM)
    assert answer.verdict == "refuse"
    assert f"below the floor of {2.5 * floor:g} cfm, {floor} cfm a ton" in answer.why


def test_every_reason_that_holds_is_named_size_first_then_drop_then_airflow() -> None:
    answer = asked(medium_size=inches(16, 25, 4), return_budget_pa=0.1 * INWC, capacity_w=3 * W_PER_TON)
    places = [answer.why.index(word) for word in ("size", "depth", "clean drop", "floor")]
    assert places == sorted(places)


def test_refusal_goes_before_asking() -> None:
    assert asked(medium_size=inches(16, 25, 1), curve=None).verdict == "refuse"
    too_little = asked(curve=None, capacity_w=3 * W_PER_TON)
    assert too_little.verdict == "refuse"
    assert too_little.clean_drop_pa is None


# Questions back.


def test_a_medium_without_points_is_asked_about() -> None:
    answer = asked(curve=None)
    assert answer.verdict == "ask"
    assert answer.why == "the medium has no label points"
    assert answer.clean_drop_pa is None
    assert answer.drop_left_pa is None
    assert answer.airflow_m3s == pytest.approx(800 * CFM)


def test_an_unknown_medium_is_asked_about() -> None:
    assert asked(medium_size=None, curve=None).why == "the medium is not known"


def test_without_airflow_and_capacity_nothing_can_be_said() -> None:
    answer = asked(design_airflow_m3s=None)
    assert answer.verdict == "ask"
    assert answer.why == "neither design airflow nor capacity is known"
    assert answer.face_velocity_ms is None
    assert answer.airflow_loss_percent is None


def test_without_any_budget_the_verdict_is_to_ask_though_the_drop_is_told() -> None:
    answer = asked(return_budget_pa=None)
    assert answer.verdict == "ask"
    assert "neither return budget nor rated external static" in answer.why
    assert answer.clean_drop_pa == pytest.approx(0.10 * INWC)
    assert answer.drop_left_pa is None


def test_asking_goes_before_care() -> None:
    assert (
        asked(return_budget_pa=None, slot_size=inches(10, 20, 1), medium_size=inches(10, 20, 1)).verdict
        == "ask"
    )


# Care.


def test_less_left_than_the_clean_drop_asks_for_care() -> None:
    answer = asked(return_budget_pa=0.24 * INWC)
    assert answer.verdict == "fits_with_care"
    assert (
        answer.why == "only 0.090 in. w.c. of the budget is left, less than the clean drop of 0.100 in. w.c."
    )


def test_as_much_left_as_the_clean_drop_fits() -> None:
    assert asked(return_budget_pa=0.25 * INWC).verdict == "fits"


def test_over_300_fpm_asks_for_care_and_300_does_not() -> None:
    square = {"slot_size": inches(20, 24, 1), "medium_size": inches(20, 24, 1), "return_budget_pa": INWC}
    assert asked(**square, design_airflow_m3s=1000 * CFM).verdict == "fits"
    answer = asked(**square, design_airflow_m3s=1001 * CFM)
    assert answer.verdict == "fits_with_care"
    assert answer.why == "face velocity of 300.3 fpm at design airflow is over 300 fpm"


# What is assumed.


@pytest.mark.parametrize(("high_velocity", "cfm"), [(True, 500), (False, 700)])
def test_design_airflow_comes_from_capacity_where_it_is_unknown(high_velocity: bool, cfm: float) -> None:
    answer = asked(design_airflow_m3s=None, capacity_w=2 * W_PER_TON, high_velocity=high_velocity)
    assert answer.airflow_m3s == pytest.approx(cfm * CFM)
    assert answer.verdict == "fits"
    assert f"design airflow assumed {cfm / 2:g} cfm a ton" in answer.why


def test_unknown_statics_count_as_nought_and_are_said_to_be_assumed() -> None:
    answer = asked(return_static_pa=None)
    assert answer.drop_left_pa == pytest.approx(0.20 * INWC)
    assert answer.why.endswith("(return static assumed 0)")
    both = asked(return_static_pa=None, supply_static_pa=None, rated_external_static_pa=0.5 * INWC)
    assert both.why.endswith("(return and supply static assumed 0)")


def test_a_static_that_enters_nowhere_is_not_said_to_be_assumed() -> None:
    assert "assumed" not in asked(supply_static_pa=None).why


def test_a_drop_beyond_the_labels_points_is_said() -> None:
    answer = asked(curve=curve((400, 0.05), (500, 0.0625)))
    assert answer.clean_drop_pa == pytest.approx(0.10 * INWC)
    assert "beyond the label's points" in answer.why


# Fixed speed. Label points of exponent 2, so that the whole system goes with the square:
# 0.05 + 0.10 + 0.10 = 0.25 in. w.c. at 800 cfm.

SQUARE = curve((400, 0.025), (800, 0.10))


def test_a_fixed_speed_blower_runs_where_its_table_meets_the_system() -> None:
    table = pairs((600, 0.45), (1000, 0.05))
    answer = asked(fixed_speed=True, blower_table=table, curve=SQUARE)
    assert answer.airflow_m3s == pytest.approx(800 * CFM)
    assert answer.airflow_loss_percent == pytest.approx(0, abs=1e-6)
    assert answer.verdict == "fits"


def test_a_weak_blower_loses_airflow_and_the_drop_is_told_there() -> None:
    # At 720 cfm the system resists 0.25 * 0.81 = 0.2025 in. w.c., the middle of this table.
    table = pairs((620, 0.3025), (820, 0.1025))
    answer = asked(fixed_speed=True, blower_table=table, curve=SQUARE)
    assert answer.airflow_m3s == pytest.approx(720 * CFM)
    assert answer.airflow_loss_percent == pytest.approx(10)
    assert answer.clean_drop_pa == pytest.approx(0.081 * INWC)
    assert answer.drop_left_pa == pytest.approx((0.25 - 0.081) * INWC)
    assert answer.face_velocity_ms == pytest.approx(230.4 * MS_PER_FPM)
    assert answer.verdict == "fits_with_care"
    assert answer.why == "airflow falls 10.0 % short of design, over 5 %"


def test_a_fixed_speed_blower_below_the_floor_is_refused() -> None:
    table = pairs((620, 0.3025), (820, 0.1025))
    answer = asked(fixed_speed=True, blower_table=table, curve=SQUARE, capacity_w=2.1 * W_PER_TON)
    assert answer.verdict == "refuse"
    assert answer.why == "airflow of 720 cfm is below the floor of 735 cfm, 350 cfm a ton"


def test_fixed_speed_without_a_table_is_asked_about_and_gives_no_figure_that_needs_it() -> None:
    answer = asked(fixed_speed=True)
    assert answer.verdict == "ask"
    assert answer.why.startswith("no blower table is given")
    assert (answer.airflow_m3s, answer.clean_drop_pa, answer.airflow_loss_percent) == (None, None, None)
    assert answer.face_velocity_ms is not None


def test_a_constant_airflow_blower_needs_no_table() -> None:
    assert asked(blower_table=pairs((620, 0.3025), (820, 0.1025))).airflow_loss_percent == pytest.approx(0)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (pairs((600, 0.1), (800, 0.3)), "does not fall"),
        (pairs((600, 0.1), (600, 0.05)), "same airflow"),
        (pairs((600, 0.1)), "at least two points"),
        (pairs((800, 0.2), (900, 0.1)), "most of all by the"),
        (pairs((500, 0.5), (700, 0.4)), "highest airflow"),
    ],
)
def test_a_table_without_an_operating_point_is_asked_about(
    table: tuple[tuple[float, float], ...], words: str
) -> None:
    answer = asked(fixed_speed=True, blower_table=table, curve=SQUARE)
    assert answer.verdict == "ask"
    assert words in answer.why
    assert answer.airflow_m3s is None
    assert answer.drop_left_pa is None


def test_a_blower_overcome_below_the_floor_is_refused() -> None:
    table = pairs((800, 0.2), (900, 0.1))
    answer = asked(fixed_speed=True, blower_table=table, curve=SQUARE, capacity_w=2.5 * W_PER_TON)
    assert answer.verdict == "refuse"
    assert "airflow is below 800 cfm and the floor of 875 cfm" in answer.why


@pytest.mark.parametrize("field", ["design_airflow_m3s", "capacity_w"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan")])
def test_figures_that_cannot_be_are_refused(field: str, value: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        asked(**{field: value})


def test_a_table_that_starts_at_no_airflow_is_read_like_any_other() -> None:
    table = pairs((0, 1.05), (1000, 0.05))
    answer = asked(fixed_speed=True, blower_table=table, curve=SQUARE)
    assert answer.airflow_m3s == pytest.approx(800 * CFM)
