"""Ten invented houses, both kinds of system and of blower, worked by hand beside the command's answer.

Labels (cfm: in. w.c.): A 500: 0.08, 1000: 0.20; B 400: 0.10, 800: 0.24; C 400: 0.04, 800: 0.16;
D 1000: 0.12; E 400: 0.16, 800: 0.40. Fixed-speed table 600: 0.80, 1200: 0.20, so 1.4 - q / 1000 at q cfm.
By hand, for instance: house 1, A's exponent ln 2.5 / ln 2 = 1.3219, so 0.08 * 1.4 ** 1.3219 = 0.1248, left
0.30 - 0.10 - 0.1248 = 0.0752, less than clean; 700 cfm over 2.7778 ft2 = 252 fpm. House 7, C goes with the
square: 0.24 (q / 900)^2 + 0.16 (q / 800)^2 = 1.4 - q / 1000 is 5.46296e-7 q^2 + 0.001 q - 1.4 = 0, q = 928.8.
Houses 8 to 10: the same balance with the label's own exponent, by repeated halving on paper.
"""

import csv
from pathlib import Path

import pytest
from django.core.management import call_command

from shared.sizes import parse_size
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import MediaFactory, MediaPointFactory

LABELS = {
    "A": {500: 0.08, 1000: 0.20},
    "B": {400: 0.10, 800: 0.24},
    "C": {400: 0.04, 800: 0.16},
    "D": {1000: 0.12},
    "E": {400: 0.16, 800: 0.40},
}
TABLE = "600:0.80;1200:0.20"
COLUMNS = (
    "label", "nominal_size", "system_kind", "blower", "capacity_tons", "design_airflow_cfm",
    "return_budget_inwc", "return_static_inwc", "rated_external_static_inwc", "supply_static_inwc",
    "blower_table",
)  # fmt: skip
# What is known of the house, then by hand: face velocity, clean drop, airflow, loss, drop left, verdict.
CONVENTIONAL, HIGH, HELD, FIXED = "conventional", "high_velocity", "constant_airflow", "fixed_speed"
HOUSES = {
    "roomy return, thin pleat": (
        ("A", "16x25x1", CONVENTIONAL, HELD, 2, 700, 0.30, 0.10, "", "", ""),
        (252.0, 0.1248, 700.0, 0.0, 0.0752, "fits_with_care"),
    ),
    "the same, finer": (
        ("B", "16x25x1", CONVENTIONAL, HELD, 2, 700, 0.30, 0.10, "", "", ""),
        (252.0, 0.2028, 700.0, 0.0, -0.0028, "refuse"),
    ),
    "the same, finest": (
        ("E", "16x25x1", CONVENTIONAL, HELD, 2, 700, 0.30, 0.10, "", "", ""),
        (252.0, 0.3353, 700.0, 0.0, -0.1353, "refuse"),
    ),
    "small ducts, small unit": (
        ("A", "14x25x1", HIGH, HELD, 2, 500, "", 0.12, 0.50, 0.10, ""),
        (205.7, 0.0800, 500.0, 0.0, 0.2000, "fits"),
    ),
    "three tons on the air of two": (
        ("A", "20x25x1", CONVENTIONAL, HELD, 3, 900, 0.30, 0.05, "", "", ""),
        (259.2, 0.1740, 900.0, 0.0, 0.0760, "refuse"),
    ),
    "deep filter, capacity not known": (
        ("D", "20x25x4", CONVENTIONAL, HELD, "", 1000, 0.40, 0.08, "", "", ""),
        (288.0, 0.1200, 1000.0, 0.0, 0.2000, "fits"),
    ),
    "fixed speed, open filter": (
        ("C", "20x25x1", CONVENTIONAL, FIXED, 2.5, 900, "", 0.10, 0.80, 0.14, TABLE),
        (259.2, 0.2157, 928.8, -3.20, 0.3443, "fits"),
    ),
    "fixed speed, finer": (
        ("B", "20x25x1", CONVENTIONAL, FIXED, 2.5, 900, "", 0.10, 0.80, 0.14, TABLE),
        (259.2, 0.2747, 890.4, 1.07, 0.2853, "fits"),
    ),
    "fixed speed, finest": (
        ("E", "20x25x1", CONVENTIONAL, FIXED, 2.5, 900, "", 0.10, 0.80, 0.14, TABLE),
        (259.2, 0.4032, 804.9, 10.57, 0.1568, "refuse"),
    ),
    "small ducts, fixed speed, no budget": (
        ("D", "20x25x1", HIGH, FIXED, 3, 800, "", 0.05, "", 0.05, TABLE),
        (230.4, 0.1320, 1084.3, -35.54, None, "ask"),
    ),
}  # fmt: skip


@pytest.fixture
def answers(db: None, tmp_path: Path) -> dict[str, dict[str, str]]:
    rows = []
    for name, (known, _by_hand) in HOUSES.items():
        label, size = str(known[0]), parse_size(str(known[1]))
        short_m, long_m, depth_m = size.triple
        medium = MediaFactory(
            name=name, nominal_size=size.label, short_m=short_m, long_m=long_m, depth_m=depth_m
        )
        for cfm, inwc in LABELS[label].items():
            MediaPointFactory(media=medium, airflow_m3s=cfm * M3S_PER_CFM, clean_drop_pa=inwc * PA_PER_INWC)
        rows.append({**dict(zip(COLUMNS[1:], known[1:], strict=True)), "media": name})
    with (tmp_path / "queries.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, [*COLUMNS[1:], "media"])
        writer.writeheader()
        writer.writerows(rows)
    call_command("verdict", tmp_path / "queries.csv", out=tmp_path / "answers.csv")
    with (tmp_path / "answers.csv").open(newline="") as file:
        return {row["media"]: row for row in csv.DictReader(file)}


def test_the_commands_answers_are_those_worked_by_hand(answers: dict[str, dict[str, str]]) -> None:
    for name, (_known, by_hand) in HOUSES.items():
        velocity, clean, airflow, loss, left, verdict = by_hand
        row = answers[name]
        assert row["verdict"] == verdict, name
        assert float(row["face_velocity_fpm"]) == pytest.approx(velocity, abs=0.06), name
        assert float(row["clean_drop_inwc"]) == pytest.approx(clean, abs=6e-5), name
        assert float(row["airflow_cfm"]) == pytest.approx(airflow, abs=0.06), name
        assert float(row["airflow_loss_percent"]) == pytest.approx(loss, abs=0.006), name
        assert (row["drop_left_inwc"] == "") == (left is None), name
        if left is not None:
            assert float(row["drop_left_inwc"]) == pytest.approx(left, abs=6e-5), name


@pytest.mark.parametrize("name", [name for name, (known, _) in HOUSES.items() if known[3] == FIXED])
def test_at_the_airflow_answered_the_blower_gives_what_the_path_takes(
    answers: dict[str, dict[str, str]], name: str
) -> None:
    known, _by_hand = HOUSES[name]
    airflow, clean = (float(answers[name][column]) for column in ("airflow_cfm", "clean_drop_inwc"))
    ducts = float(known[7]) + float(known[9])
    taken = ducts * (airflow / float(known[5])) ** 2 + clean
    assert taken == pytest.approx(1.4 - airflow / 1000, abs=2e-4)
