import numpy as np
import pytest

from schedules.planning.travel import EARTH_RADIUS_M, estimate, great_circle_m


def places(*pairs: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    return np.array([pair[0] for pair in pairs], dtype=float), np.array(
        [pair[1] for pair in pairs], dtype=float
    )


def test_a_degree_of_latitude_is_the_earths_circumference_over_360() -> None:
    metres = great_circle_m(*places((40, -90), (41, -90)))
    assert metres[0, 1] == pytest.approx(2 * np.pi * EARTH_RADIUS_M / 360, rel=1e-12)


def test_a_quarter_of_the_globe_lies_between_pole_and_equator() -> None:
    metres = great_circle_m(*places((90, 12), (0, -77)))
    assert metres[0, 1] == pytest.approx(np.pi * EARTH_RADIUS_M / 2, rel=1e-12)


def test_opposite_places_are_half_the_globe_apart_and_no_root_turns_negative() -> None:
    assert great_circle_m(*places((0, 0), (0, 180)))[0, 1] == pytest.approx(np.pi * EARTH_RADIUS_M)


def test_the_date_line_is_no_wall() -> None:
    assert great_circle_m(*places((0, 179.5), (0, -179.5)))[0, 1] == pytest.approx(111_195, rel=1e-4)


def test_seconds_are_road_metres_over_speed_and_the_fixed_part() -> None:
    seconds, metres = estimate(*places((40, -90), (40.1, -90)), road_factor=1.5, speed_ms=10, leg_s=60)
    road = 1.5 * 0.1 * 2 * np.pi * EARTH_RADIUS_M / 360
    assert metres[0, 1] == round(road)
    assert seconds[0, 1] == round(road / 10 + 60)


def test_the_same_place_twice_costs_neither_way_nor_parking() -> None:
    seconds, metres = estimate(*places((40, -90), (40, -90), (40.2, -90)))
    assert seconds[0, 1] == metres[0, 1] == 0
    assert seconds[0, 2] > 120


def test_the_matrices_are_whole_symmetric_and_empty_on_the_diagonal() -> None:
    for matrix in estimate(*places((40, -90), (40.3, -90.2), (39.9, -89.7))):
        assert matrix.dtype == np.int64
        assert (matrix == matrix.T).all()
        assert (np.diag(matrix) == 0).all()


def test_no_place_gives_empty_matrices() -> None:
    seconds, metres = estimate(*places())
    assert seconds.shape == metres.shape == (0, 0)


@pytest.mark.parametrize(
    ("latitude", "longitude", "options"),
    [
        ([91.0], [0.0], {}),
        ([0.0], [181.0], {}),
        ([float("nan")], [0.0], {}),
        ([0.0, 1.0], [0.0], {}),
        ([0.0], [0.0], {"road_factor": 0.9}),
        ([0.0], [0.0], {"speed_ms": 0.0}),
        ([0.0], [0.0], {"leg_s": -1.0}),
    ],
)
def test_senseless_places_and_options_are_refused(
    latitude: list[float], longitude: list[float], options: dict[str, float]
) -> None:
    with pytest.raises(ValueError, match=r"must|goes"):
        estimate(np.array(latitude), np.array(longitude), **options)
