"""What people of the trade do as a matter of course. Common practice, no source, unless one is named."""

import csv
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings

from equipment.airside.air import face_velocity
from equipment.airside.limit import AIRFLOW_FLOOR_HIGH_VELOCITY, budget_left, limit_drop
from equipment.airside.media import LabelCurve
from equipment.models import FilterSlot, Media
from equipment.verdict import Question, judge
from schedules.gather import Gatherer
from schedules.models import Policy
from shared.sizes import parse_size
from shared.units import M3S_PER_CFM, METRE_PER_INCH, MS_PER_FPM, PA_PER_INWC, W_PER_TON
from tests.factories import TODAY

DEMO = Path(settings.BASE_DIR) / "fixtures" / "demo"
GRILLE = (20 * METRE_PER_INCH, 25 * METRE_PER_INCH, METRE_PER_INCH)
# A small-duct system: about 1.2 in. w.c. on the supply side, 0.15 on the return.
SUPPLY_PA, RETURN_PA = 1.2 * PA_PER_INWC, 0.15 * PA_PER_INWC


def test_a_one_inch_disposable_filter_is_changed_at_least_every_six_months(db: None) -> None:
    """Common practice, no source."""
    medium = Media(kind=Media.Kind.DISPOSABLE)
    assert Gatherer(TODAY).cap_days(FilterSlot(depth_m=METRE_PER_INCH), medium) <= 184
    assert Policy.the().cap_thin_days <= Policy.the().cap_deep_days


def test_14x30x1_is_a_size_one_can_buy() -> None:
    """Common practice, no source: the long narrow grille of many small-duct returns."""
    with (DEMO / "media.csv").open(newline="", encoding="utf-8") as file:
        sizes = {parse_size(row["nominal_size"]).label for row in csv.DictReader(file)}
    assert "14x30x1" in sizes


def of_the_demo(merv: int, size: str) -> list[LabelCurve]:
    """The label curves of the demo's media of a MERV and size."""
    with (DEMO / "media.csv").open(newline="", encoding="utf-8") as file:
        names = {
            row["media"]
            for row in csv.DictReader(file)
            if row["merv"] == str(merv) and parse_size(row["nominal_size"]).label == size
        }
    points: dict[str, list[tuple[float, float]]] = {}
    with (DEMO / "media_points.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["media"] in names:
                pair = float(row["airflow_cfm"]) * M3S_PER_CFM, float(row["clean_drop_inwc"]) * PA_PER_INWC
                points.setdefault(row["media"], []).append(pair)
    return [LabelCurve(*np.array(sorted(pairs)).T) for pairs in points.values()]


def test_up_to_merv_13_is_fitted_in_the_grille_of_a_small_duct_system() -> None:
    """Common practice, no source: a one-inch MERV 13 in a 20x25 grille is not refused at two tons.

    At 250 cfm a ton that is 144 fpm, under the 150 fpm that Title 24 sizes one-inch filters for.
    """
    curves = of_the_demo(13, "20x25x1")
    assert curves
    for curve in curves:
        answer = judge(
            Question(
                slot_size=GRILLE, medium_size=GRILLE, curve=curve, high_velocity=True,
                capacity_w=2 * W_PER_TON, return_budget_pa=RETURN_PA, return_static_pa=0.02 * PA_PER_INWC,
                rated_external_static_pa=SUPPLY_PA + RETURN_PA, supply_static_pa=SUPPLY_PA,
            )
        )  # fmt: skip
        assert answer.verdict in ("fits", "fits_with_care"), answer.why


def test_the_return_side_leaves_a_filter_some_tenth_of_an_inch() -> None:
    """Common practice, no source: 0.15 in. w.c. on the return against 1.2 on the supply.

    Such a budget, not twice the clean drop, bounds a filter that takes 0.10 when clean.
    """
    known = (np.array([value]) for value in (RETURN_PA, np.nan, SUPPLY_PA + RETURN_PA, SUPPLY_PA))
    left = budget_left(*known)
    assert left[0] / PA_PER_INWC == pytest.approx(0.15)
    limit = limit_drop(np.array([np.nan]), np.array([0.10 * PA_PER_INWC]), left)
    assert limit.drop_pa[0] / PA_PER_INWC == pytest.approx(0.15)
    assert not limit.nothing_left[0]


@pytest.mark.parametrize(("tons", "inches"), [(1.5, 12), (2.5, 14), (3.5, 16), (5.0, 20)])
def test_return_ducts_of_12_to_20_inches_carry_the_small_duct_airflow_quietly(
    tons: float, inches: float
) -> None:
    """Common practice, no source: at 250 cfm a ton, some 400 to 700 fpm in the return duct."""
    airflow = tons * W_PER_TON * AIRFLOW_FLOOR_HIGH_VELOCITY
    velocity = face_velocity(airflow, np.pi / 4 * (inches * METRE_PER_INCH) ** 2)
    assert 400 <= velocity / MS_PER_FPM <= 700
