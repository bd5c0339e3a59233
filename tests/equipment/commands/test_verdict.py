"""The verdict command on files; every expected figure is worked by hand beside it."""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.models import Media
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC
from tests.factories import MediaFactory, MediaPointFactory

Asking = Callable[..., list[dict[str, str]]]
# 20x25 is 500 in2 or 3.4722 ft2: 800 cfm meet it at 230.4 fpm. The label's drop goes straight with airflow,
# so 800 cfm cost 0.10 in. w.c., and 0.5 - 0.2 - 0.1 = 0.2 in. w.c. is left.
QUESTION = {
    "nominal_size": "20x25x1", "media": "pleat", "system_kind": "conventional", "blower": "constant_airflow",
    "capacity_tons": "2", "design_airflow_cfm": "800", "return_budget_inwc": "0.5",
    "return_static_inwc": "0.2", "rated_external_static_inwc": "", "supply_static_inwc": "0.4",
    "blower_table": "",
}  # fmt: skip
# At 700 cfm: ducts 0.6 * (7/8)^2 = 0.459375, filter 0.0875, together 0.546875, which this line gives there.
FIXED = {"blower": "fixed_speed", "blower_table": "600:0.646875;800:0.446875"}


def medium(name: str, points: dict[float, float], **fields: Any) -> Media:
    sides = {"nominal_size": "20x25x1", "short_m": 20 * METRE_PER_INCH, "long_m": 25 * METRE_PER_INCH}
    row = MediaFactory(name=name, **(sides | fields))
    for cfm, inwc in points.items():
        MediaPointFactory(media=row, airflow_m3s=cfm * M3S_PER_CFM, clean_drop_pa=inwc * PA_PER_INWC)
    return row


@pytest.fixture
def asking(db: None, tmp_path: Path, sheet: Callable[..., Path]) -> Asking:
    medium("pleat", {400: 0.05, 800: 0.10})

    def ask(*changes: dict[str, str]) -> list[dict[str, str]]:
        path = sheet("queries.csv", [QUESTION | change for change in changes])
        out = tmp_path / "answers.csv"
        call_command("verdict", str(path), "--out", str(out))
        with out.open(newline="", encoding="utf-8") as file:
            return list(csv.DictReader(file))

    return ask


def test_constant_airflow_keeps_the_design_airflow_and_fits(asking: Asking) -> None:
    (answer,) = asking({})
    assert {name: answer[name] for name in list(answer)[11:17]} == {
        "face_velocity_fpm": "230.4",
        "clean_drop_inwc": "0.1000",
        "airflow_cfm": "800.0",
        "airflow_loss_percent": "0.00",
        "drop_left_inwc": "0.2000",
        "verdict": "fits",
    }
    assert "0.200 in. w.c." in answer["why"]


def test_a_fixed_speed_blower_runs_where_its_table_meets_the_resistance(asking: Asking) -> None:
    (answer,) = asking(FIXED)
    assert answer["airflow_cfm"] == "700.0"
    assert answer["airflow_loss_percent"] == "12.50"
    assert answer["clean_drop_inwc"] == "0.0875"
    assert answer["drop_left_inwc"] == "0.2125"
    assert answer["face_velocity_fpm"] == "230.4"  # at the design airflow, not the one that is left
    assert answer["verdict"] == "fits_with_care"


def test_the_smaller_of_the_two_budgets_counts(asking: Asking) -> None:
    """0.75 - 0.2 - 0.4 - 0.1 = 0.05, less than the clean drop of 0.1."""
    (answer,) = asking({"rated_external_static_inwc": "0.75"})
    assert (answer["drop_left_inwc"], answer["verdict"]) == ("0.0500", "fits_with_care")


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        ({"nominal_size": "16x25x1"}, "refuse"),
        ({"nominal_size": "25x20x1"}, "fits"),
        ({"nominal_size": "20x25x2"}, "refuse"),
        ({"return_budget_inwc": "0.29"}, "refuse"),
        ({"return_budget_inwc": "0.3"}, "fits_with_care"),
        (FIXED | {"capacity_tons": "2.5"}, "refuse"),
        (FIXED | {"capacity_tons": "2.5", "system_kind": "high_velocity"}, "fits_with_care"),
        ({"return_budget_inwc": ""}, "ask"),
        ({"design_airflow_cfm": "", "capacity_tons": ""}, "ask"),
        ({"media": "unlabelled"}, "ask"),
        ({"media": "unlabelled", "nominal_size": "16x25x1"}, "refuse"),
        ({"design_airflow_cfm": "1050", "return_budget_inwc": "1"}, "fits_with_care"),
    ],
)
def test_each_word_of_the_verdict(asking: Asking, change: dict[str, str], verdict: str) -> None:
    medium("unlabelled", {})
    (answer,) = asking(change)
    assert answer["verdict"] == verdict


def test_a_figure_that_cannot_be_told_is_left_empty(asking: Asking) -> None:
    (answer,) = asking({"design_airflow_cfm": "", "capacity_tons": ""})
    assert [answer[name] for name in list(answer)[11:16]] == [""] * 5


def test_unknown_statics_count_as_nought_and_are_said_to(asking: Asking) -> None:
    """0.5 - 0 - 0.1 = 0.4."""
    (answer,) = asking({"return_static_inwc": "", "supply_static_inwc": ""})
    assert answer["drop_left_inwc"] == "0.4000"
    assert "static assumed 0" in answer["why"]


def test_the_question_comes_back_as_it_was_typed_and_in_its_order(asking: Asking) -> None:
    odd = {"nominal_size": '25 X 20 x 1"', "design_airflow_cfm": "8e2", "remark": "  two, “quoted”\nlines "}
    first, second = asking(odd, {"media": "pleat"})
    assert list(first)[:12] == [*QUESTION, "remark"]
    assert {name: first[name] for name in odd} == odd
    assert second["nominal_size"] == "20x25x1"


def test_optional_columns_may_be_left_out(db: None, tmp_path: Path, sheet: Callable[..., Path]) -> None:
    medium("pleat", {400: 0.05, 800: 0.10})
    path = sheet(
        "q.csv", "media,blower,system_kind,nominal_size\npleat,constant_airflow,conventional,20x25x1\n"
    )
    call_command("verdict", str(path), "--out", str(tmp_path / "a.csv"))
    assert "ask" in (tmp_path / "a.csv").read_text().splitlines()[1]


def test_every_fault_is_listed_and_no_file_is_written(
    db: None, tmp_path: Path, sheet: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    medium("pleat", {400: 0.05, 800: 0.10})
    bad = [
        QUESTION | {"media": "nobody's"},
        QUESTION | {"nominal_size": "0x25x1", "blower": "steam"},
        QUESTION,
        QUESTION | {"design_airflow_cfm": "-1", "system_kind": ""},
    ]
    path, out = sheet("queries.csv", bad), tmp_path / "answers.csv"
    with pytest.raises(CommandError, match="5 faults"):
        call_command("verdict", str(path), "--out", str(out))
    said = capsys.readouterr().out
    for place in ("line 2, media “nobody's”", "line 3, nominal_size “0x25x1”", "line 3, blower “steam”",
                  "line 5, design_airflow_cfm “-1”", "line 5, system_kind “”"):  # fmt: skip
        assert place in said
    assert not out.exists()


@pytest.mark.parametrize("column", ["nominal_size", "media", "system_kind", "blower"])
def test_the_four_columns_that_every_question_needs(
    db: None, tmp_path: Path, sheet: Callable[..., Path], column: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = sheet("queries.csv", [{name: cell for name, cell in QUESTION.items() if name != column}])
    with pytest.raises(CommandError):
        call_command("verdict", str(path), "--out", str(tmp_path / "answers.csv"))
    assert f"{column} “”: the column is missing" in capsys.readouterr().out


def test_a_column_of_the_answer_in_the_question_is_a_fault(
    db: None, tmp_path: Path, sheet: Callable[..., Path]
) -> None:
    medium("pleat", {400: 0.05, 800: 0.10})
    path = sheet("queries.csv", [QUESTION | {"verdict": "fits"}])
    with pytest.raises(CommandError, match="1 fault"):
        call_command("verdict", str(path), "--out", str(tmp_path / "answers.csv"))


def test_a_missing_file_is_said_plainly(db: None, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("verdict", str(tmp_path / "none.csv"), "--out", str(tmp_path / "answers.csv"))


FIGURE = st.one_of(
    st.sampled_from(["", "0", "5", "1e-300", "0.01", "400", "49999"]), st.floats(0, 60).map(repr)
)
TABLE = st.lists(st.tuples(st.floats(0, 3000), st.floats(0, 5)), max_size=4).map(
    lambda pairs: ";".join(f"{cfm}:{inwc}" for cfm, inwc in pairs)
)
LABELS = {
    "rising": {400: 0.05, 800: 0.1}, "one-point": {400: 0.1}, "steep": {400: 0.01, 401: 5.0},
    "falling": {400: 5.0, 800: 0.01}, "unlabelled": {},
}  # fmt: skip
COLUMNS = dict.fromkeys(QUESTION, FIGURE) | {
    "nominal_size": st.sampled_from(["20x25x1", "16x25x1"]),
    "media": st.sampled_from(sorted(LABELS)),
    "system_kind": st.sampled_from(["high_velocity", "conventional"]),
    "blower": st.sampled_from(["constant_airflow", "fixed_speed"]),
    "blower_table": TABLE,
}


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.fixed_dictionaries(COLUMNS), min_size=1, max_size=5))
def test_any_figures_get_a_verdict_or_a_fault(
    db: None, tmp_path: Path, sheet: Callable[..., Path], rows: list[dict[str, str]]
) -> None:
    for name, points in LABELS.items():
        if not Media.objects.filter(name=name).exists():
            medium(name, points)
    out = tmp_path / "answers.csv"
    try:
        call_command("verdict", str(sheet("queries.csv", rows)), "--out", str(out))
    except CommandError:
        return
    with out.open(newline="", encoding="utf-8") as file:
        answers = list(csv.DictReader(file))
    assert {answer["verdict"] for answer in answers} <= {"fits", "fits_with_care", "ask", "refuse"}
    assert all(answer[name] not in ("nan", "inf") for answer in answers for name in list(answer)[11:16])
