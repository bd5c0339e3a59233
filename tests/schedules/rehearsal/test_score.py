"""The scorer against scores worked by hand."""

import csv
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from schedules.rehearsal.fleet import simulate
from schedules.rehearsal.score import Promise, clipped, known, read_promise, score, splits
from schedules.rehearsal.sheets import slot_name

AS_OF = date(2026, 5, 10)


def test_a_score_worked_by_hand() -> None:
    told = Promise(np.array([[10.0, 10.0], [20.0, 20.0], [30.0, 30.0]]))
    happened = np.array([15.0, 40.0])
    result = score(told, happened, np.array([True, True]))
    # First slot: 0.1*5, 0.5*5, 0.1*15; second: 0.1*30, 0.5*20, 0.9*10.
    assert result.pinball == pytest.approx((0.5 + 2.5 + 1.5 + 3.0 + 10.0 + 9.0) / 6)
    assert result.coverage == 0.5
    assert result.median_error == pytest.approx((5 + 20) / 2)


def test_what_is_never_or_not_said_counts_as_ten_years() -> None:
    assert clipped(np.array([np.inf, np.nan, -3.0, 8.0])).tolist() == [3652, 3652, 0, 8]


def test_promises_are_read_from_the_forecasts_own_file(tmp_path: Path) -> None:
    fleet = simulate(2, 12, AS_OF)
    path = tmp_path / "dates.csv"
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["filter_slot", "p10_on", "p50_on", "p90_on", "reason"])
        for slot in range(fleet.count):
            row = ["", "", "", "unknown"] if slot == 0 else ["2026-05-20", "2026-06-09", "", "risk"]
            writer.writerow([slot_name(slot), *row])
    told, said = read_promise(path, fleet)
    assert said.tolist() == [False] + [True] * (fleet.count - 1)
    assert told.days[:, 1].tolist() == [10, 30, 3652]


def test_splits_leave_out_what_is_past_and_part_the_rest() -> None:
    fleet = simulate(2, 60, AS_OF)
    logged = np.arange(len(fleet.plant.systems.slots)) % 2 == 0
    what = known(fleet, logged)
    happened = np.where(np.arange(fleet.count) % 5 == 0, 0.0, 50.0)
    parts = splits(what, happened)
    assert parts["all"].sum() == (happened > 0).sum()
    for one, other in (("log", "no log"), ("near", "far"), ("past lives", "first life")):
        assert np.array_equal(parts[one] ^ parts[other], parts["all"])
    reading = parts["no reading"].astype(int) + parts["one reading"] + parts["several readings"]
    assert np.array_equal(reading == 1, parts["all"])
