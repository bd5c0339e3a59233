import numpy as np
import pytest

from equipment.airside.fan import (
    NoCrossing,
    NotFalling,
    SamePoint,
    TooFewPoints,
    drop_at_held_airflow,
    operating_airflow,
    with_the_square,
)

TABLE = [(0.2, 200.0), (0.4, 100.0), (0.5, 0.0)]


def test_the_blower_runs_where_its_table_meets_the_resistance() -> None:
    # On the first line the blower gives 300 - 500 Q; 100 (Q / 0.3)^2 / (4 / 3) = 75 (Q / 0.3)^2 meets it
    # at the root of 75 Q^2 / 0.09 + 500 Q - 300 = 0.
    root = (-500 + (500**2 + 4 * 300 * 75 / 0.09) ** 0.5) / (2 * 75 / 0.09)
    found = operating_airflow(TABLE, {"return": with_the_square(75.0, 0.3)})
    assert found == pytest.approx(root, rel=1e-9)


def test_the_parts_add_up() -> None:
    parts = {"return": lambda q: 20.0, "filter": lambda q: 30.0, "supply": lambda q: 50.0}
    assert operating_airflow(TABLE, parts) == pytest.approx(0.4)


def test_the_order_of_the_tables_points_does_not_matter() -> None:
    parts = {"filter": with_the_square(60.0, 0.3)}
    assert operating_airflow(TABLE[::-1], parts) == operating_airflow(TABLE, parts)


@pytest.mark.parametrize(("resisted", "airflow"), [(200.0, 0.2), (0.0, 0.5)])
def test_a_crossing_at_the_tables_end_counts(resisted: float, airflow: float) -> None:
    assert operating_airflow(TABLE, {"filter": lambda q: resisted}) == pytest.approx(airflow)


def test_more_resistance_never_gives_more_airflow() -> None:
    found = [operating_airflow(TABLE, {"filter": with_the_square(pa, 0.3)}) for pa in range(10, 300, 20)]
    assert found == sorted(found, reverse=True)


@pytest.mark.parametrize("part", ["return", "filter", "supply"])
def test_an_overcome_blower_names_the_strongest_part(part: str) -> None:
    parts = dict.fromkeys(("return", "filter", "supply"), lambda q: 60.0) | {part: lambda q: 150.0}
    with pytest.raises(NoCrossing, match=f"most of all by the {part}") as caught:
        operating_airflow(TABLE, parts)
    assert (caught.value.side, caught.value.end_m3s, caught.value.part) == ("below", 0.2, part)


def test_a_resistance_too_small_for_the_table_is_said() -> None:
    with pytest.raises(NoCrossing, match="highest airflow") as caught:
        operating_airflow(TABLE[:2], {"filter": lambda q: 10.0})
    assert (caught.value.side, caught.value.end_m3s) == ("above", 0.4)


@pytest.mark.parametrize(
    ("table", "error"),
    [
        ([], TooFewPoints),
        ([(0.2, 200.0)], TooFewPoints),
        ([(0.2, 200.0), (0.2, 100.0)], SamePoint),
        ([(0.2, 200.0), (0.2, 200.0)], SamePoint),
        ([(0.2, 100.0), (0.4, 200.0)], NotFalling),
        ([(0.2, 100.0), (0.4, 100.0)], NotFalling),
    ],
)
def test_a_table_that_is_no_blowers_is_refused_by_name(
    table: list[tuple[float, float]], error: type[Exception]
) -> None:
    with pytest.raises(error):
        operating_airflow(table, {"filter": lambda q: 50.0})


@pytest.mark.parametrize("resistance", [1.3, 2.0, 3.0])
def test_the_drop_at_held_airflow_is_that_of_the_operating_point_undone(resistance: float) -> None:
    # A blower whose static falls twice as fast as its airflow rises, a third of it in the clean filter.
    table = [(0.4, 220.0), (1.2, 60.0)]

    def loaded(airflow: float) -> float:
        return 100 / 3 * resistance * airflow**1.18

    airflow = operating_airflow(table, {"filter": loaded, "ducts": with_the_square(200 / 3, 1.0)})
    shown, clean = np.array([loaded(airflow)]), np.array([100 / 3])
    assert shown[0] < resistance * clean[0]
    assert drop_at_held_airflow(shown, clean)[0] == pytest.approx(resistance * clean[0], rel=1e-6)


def test_what_is_not_above_clean_is_left_as_it_was_read() -> None:
    assert drop_at_held_airflow(np.array([30.0, 40.0]), np.full(2, 40.0)).tolist() == [30.0, 40.0]


def test_a_drop_beyond_the_blower_stays_a_number() -> None:
    assert np.isfinite(drop_at_held_airflow(np.array([5000.0]), np.array([40.0]))).all()
