import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

EXAMPLE = {
    "technicians": [{"id": "t1-mon", "node": 0, "shift": [28800, 61200], "skills": ["gas"], "van": 40}],
    "stops": [
        {
            "id": "s1",
            "node": 1,
            "service_s": 2700,
            "windows": [[32400, 43200]],
            "skills": ["gas"],
            "load": 2,
            "must": True,
            "worth": 0,
        }
    ],
    "travel_s": [[0, 600], [600, 0]],
    "travel_m": [[0, 9000], [9000, 0]],
}


def written(tmp_path: Path, problem: object) -> Path:
    path = tmp_path / "problem.json"
    path.write_text(problem if isinstance(problem, str) else json.dumps(problem), encoding="utf-8")
    return path


def run(tmp_path: Path, problem: object, *options: str) -> Path:
    out = tmp_path / "answer.json"
    call_command("plan_routes", str(written(tmp_path, problem)), *options, "--out", str(out))
    return out


def test_the_example_of_the_file_format_gets_the_answer_written_there(tmp_path: Path) -> None:
    answer = json.loads(run(tmp_path, EXAMPLE, "--iterations", "10", "--seed", "1").read_text())
    assert answer == {
        "routes": [
            {
                "technician": "t1-mon",
                "stops": [{"id": "s1", "arrive_s": 32400, "start_s": 32400, "leave_s": 35100}],
            }
        ],
        "unserved": [],
        "travel_s": 1200,
        "travel_m": 18000,
    }


def test_the_search_can_be_given_seconds(tmp_path: Path) -> None:
    answer = json.loads(run(tmp_path, EXAMPLE, "--seconds", "0.1", "--seed", "1").read_text())
    assert answer["travel_s"] == 1200


def test_the_same_seed_writes_the_same_bytes(tmp_path: Path) -> None:
    first = run(tmp_path, EXAMPLE, "--iterations", "10", "--seed", "3").read_bytes()
    assert run(tmp_path, EXAMPLE, "--iterations", "10", "--seed", "3").read_bytes() == first


def test_every_fault_is_listed_and_nothing_is_written(tmp_path: Path) -> None:
    stop = EXAMPLE["stops"][0]
    problem = EXAMPLE | {"stops": [stop | {"node": 7}, stop | {"load": -1}]}
    with pytest.raises(CommandError) as refused:
        run(tmp_path, problem, "--iterations", "1", "--seed", "1")
    words = str(refused.value)
    assert "stops[0] (s1).node: 7 is no node" in words
    assert "stops[1] (s1).load: must not be negative" in words
    assert "id stands already at stops[0]" in words
    assert [path.name for path in tmp_path.iterdir()] == ["problem.json"]


def test_an_older_answer_outlives_a_refused_problem(tmp_path: Path) -> None:
    (tmp_path / "answer.json").write_text("older")
    with pytest.raises(CommandError):
        run(tmp_path, {}, "--iterations", "1", "--seed", "1")
    assert (tmp_path / "answer.json").read_text() == "older"


@pytest.mark.parametrize("text", ["", "{", "[1, 2", "[" * 100_000, "1" * 5000])
def test_a_file_that_is_not_json_is_refused_in_words(tmp_path: Path, text: str) -> None:
    with pytest.raises(CommandError, match=r"is not JSON|number too long"):
        run(tmp_path, text, "--iterations", "1", "--seed", "1")


def test_a_missing_file_is_refused_in_words(tmp_path: Path) -> None:
    out = str(tmp_path / "answer.json")
    with pytest.raises(CommandError, match=r"nowhere\.json cannot be read"):
        call_command("plan_routes", str(tmp_path / "nowhere.json"), "--iterations", "1", "--out", out)


def test_a_missing_directory_for_the_answer_is_refused_in_words(tmp_path: Path) -> None:
    path = str(written(tmp_path, EXAMPLE))
    with pytest.raises(CommandError, match="no directory"):
        call_command("plan_routes", path, "--iterations", "1", "--out", str(tmp_path / "no" / "answer.json"))


@pytest.mark.parametrize(
    "options",
    [
        [],
        ["--seconds", "1", "--iterations", "1"],
        ["--iterations", "-1"],
        ["--iterations", "1.5"],
        ["--seconds", "nan"],
        ["--iterations", "1", "--seed", "x"],
    ],
)
def test_options_that_say_nothing_clear_are_refused(tmp_path: Path, options: list[str]) -> None:
    with pytest.raises(CommandError):
        run(tmp_path, EXAMPLE, *options)


def test_an_unknown_key_is_reported_and_ignored(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(tmp_path, EXAMPLE | {"colour": "red"}, "--iterations", "1", "--seed", "1")
    assert "unknown key ignored: the problem: colour" in capsys.readouterr().err
