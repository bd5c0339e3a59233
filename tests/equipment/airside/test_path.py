"""Parts of a return path: each against its own arithmetic, signs, and what is refused."""

import numpy as np
import pytest

from equipment.airside.duct import FLEXIBLE_ROUGHNESS_M, friction_pa
from equipment.airside.path import Air, Box, Duct, Grille, air_at, path_loss_pa, path_square
from equipment.airside.refused import BadFigure, NoArea, NotFinite

PARTS = [Grille(0.5, 0.6), Box(0.3, 0.25, 0.1), Duct(0.35, 4.0, flexible=True, compression=0.1, elbows=2)]
NAN = float("nan")


def test_a_grille_loses_its_share_of_the_velocity_pressure_between_its_bars() -> None:
    """0.3 m3/s through half of 0.3 m2 is 2 m/s: 0.5 * 1.2 * 4 = 2.4 Pa, twice."""
    assert Grille(0.5, 0.6, free_share=0.5, loss=2.0).loss_pa(0.3, Air(1.2)) == pytest.approx(4.8)


def test_a_box_loses_by_borda_and_carnot_and_at_a_plain_edge() -> None:
    """0.1 m2 into 0.2 m2: (1 - 1/2)^2 of 0.5 * 1.2 * 9 Pa; out by 0.05 m2: 0.5 (1 - 1/4) of 21.6 Pa."""
    assert Box(0.2, 0.1, 0.05).loss_pa(0.3, Air(1.2))[()] == pytest.approx(0.25 * 5.4 + 0.375 * 21.6)


def test_a_box_as_narrow_as_its_openings_is_no_box() -> None:
    assert Box(0.1, 0.1, 0.1).loss_pa(0.4) == 0


def test_slack_in_flexible_duct_costs_a_multiple_of_its_friction_but_not_of_its_bends() -> None:
    """1 + 58 * 0.1 * exp(-4.96 * 0.25) = 2.6785."""
    stretched, slack = (
        Duct(0.25, 5.0, flexible=True, compression=share, fittings=0.8) for share in (0.0, 0.1)
    )
    friction = friction_pa(0.3, 0.25, 5.0, FLEXIBLE_ROUGHNESS_M)
    assert slack.loss_pa(0.3) - stretched.loss_pa(0.3) == pytest.approx(1.6785 * friction, rel=1e-3)


def test_the_parts_add_up_for_every_airflow() -> None:
    flows = np.array([[0.0, 0.2], [0.4, 0.6]])
    whole = path_loss_pa(PARTS, flows)
    assert whole.shape == (2, 2)
    assert whole == pytest.approx(sum(part.loss_pa(flows) for part in PARTS))
    assert whole[0, 0] == 0
    assert (np.diff(whole.ravel()) > 0).all()


def test_no_parts_take_nothing() -> None:
    assert path_loss_pa([], [0.2, 0.4]).tolist() == [0.0, 0.0]


def test_the_square_is_exact_at_design_and_a_little_short_below() -> None:
    square = path_square(PARTS, 0.5)
    assert square * 0.25 == pytest.approx(path_loss_pa(PARTS, 0.5))
    assert 0.9 < square * 0.0625 / path_loss_pa(PARTS, 0.25) < 1.0


def test_thinner_air_loses_less_and_colder_air_more() -> None:
    sea, mile, cold = (
        float(path_loss_pa(PARTS, 0.4, air)) for air in (air_at(0.0), air_at(1609.344), air_at(0.0, 0.0))
    )
    assert mile / sea == pytest.approx(83_431.8 / 101_325, rel=0.01)
    assert cold > sea


def test_losses_take_an_array_of_homes() -> None:
    air = air_at(np.array([0.0, 1609.344, 3000.0]))
    assert (np.diff(path_loss_pa(PARTS, np.full(3, 0.4), air)) < 0).all()


@pytest.mark.parametrize(
    ("build", "error", "words"),
    [
        (lambda: Duct(0.0, 3.0), NoArea, "diameter must be above 0"),
        (lambda: Duct(0.3, -3.0), BadFigure, "must not be negative"),
        (lambda: Duct(0.3, NAN), NotFinite, "length"),
        (lambda: Duct(0.3, 3.0, compression=0.1), BadFigure, "only flexible"),
        (lambda: Duct(0.3, 3.0, flexible=True, compression=0.4), BadFigure, "30 % of compression"),
        (lambda: Duct(0.3, 3.0, fittings=float("inf")), NotFinite, "fittings"),
        (lambda: Grille(0.0, 0.5), NoArea, "sides of a face"),
        (lambda: Grille(0.5, 0.5, free_share=0.0), BadFigure, "free share"),
        (lambda: Grille(0.5, 0.5, free_share=NAN), NotFinite, "free share"),
        (lambda: Grille(0.5, 0.5, loss=-1.0), BadFigure, "grille's loss"),
        (lambda: Box(0.0, 0.1, 0.1), NoArea, "areas"),
        (lambda: Box(0.1, 0.2, 0.1), NoArea, "narrower"),
        (lambda: Air(0.0), BadFigure, "density"),
        (lambda: path_loss_pa([], NAN), NotFinite, "airflow"),
        (lambda: path_loss_pa(PARTS, -0.1), BadFigure, "negative"),
        (lambda: path_square(PARTS, 0.0), BadFigure, "design airflow"),
    ],
)
def test_what_is_no_part_is_refused_in_words(build: object, error: type[ValueError], words: str) -> None:
    with pytest.raises(error, match=words):
        build()  # type: ignore[operator]
