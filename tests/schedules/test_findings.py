"""Findings on sheets: each rule fires on its case, keeps the reading out of the date, and says so."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot
from schedules import due
from schedules.explain import explain
from schedules.finding_rows import found
from schedules.finding_words import TITLES, say, say_all
from schedules.models import Plan, Policy
from tests.schedules.planning.conftest import MEDIA, POINTS, SLOT

NOW = datetime(2026, 5, 12, 15, tzinfo=UTC)
Planned = Callable[..., Plan]


@pytest.fixture
def planned(importing: Callable[..., Any]) -> Planned:
    """The plan of one slot after importing its readings (pairs of instant and in. w.c.) and changes."""

    def run(
        readings: list[tuple[str, float]] | None = None,
        changes: list[str] | None = None,
        fan: list[dict[str, object]] | None = None,
        **slot: Any,
    ) -> Plan:
        read = [
            {"filter_slot": "hall", "taken_at": f"{at}T10:00", "filter_drop_inwc": inwc}
            for at, inwc in readings or []
        ]
        sheets: dict[str, Any] = {
            "readings": read,
            "changes": [{"filter_slot": "hall", "changed_on": on} for on in changes or []],
            "runtime": fan or [],
        }
        fitted = SLOT | {"fitted_on": "2025-06-01"} | slot
        full = {name: rows for name, rows in sheets.items() if rows}
        report = importing(media=MEDIA, media_points=POINTS, installed=[fitted], **full)
        assert not report.faults, list(report.lines())
        due.replan(NOW, FilterSlot.objects.all())
        return Plan.objects.get()

    return run


def kinds(plan: Plan) -> list[str]:
    return [finding["kind"] for finding in plan.findings]


STEADY = [("2025-08-01", 0.11), ("2025-12-01", 0.13), ("2026-04-01", 0.15)]


@pytest.mark.django_db
def test_filters_that_only_load_have_no_finding(planned: Planned) -> None:
    plan = planned(STEADY, rated_external_static_inwc=0.5)
    assert (plan.findings, plan.finding_count) == ([], 0)


FALLEN = [("2025-08-01", 0.14), ("2025-12-01", 0.26), ("2026-02-20", 0.11), ("2026-04-20", 0.12)]


@pytest.mark.django_db
def test_a_fall_proposes_a_change_and_begins_the_date_anew(planned: Planned) -> None:
    plan = planned(FALLEN)
    assert kinds(plan) == ["fall"]
    began = date.fromisoformat(plan.findings[0]["began"])
    assert date(2025, 12, 1) <= began < date(2026, 2, 20)
    assert plan.life_began_on == began
    assert "begun_anew" in plan.notes
    (said,) = say_all(plan.findings, "ip")
    assert said.propose_on == began
    assert "0.26 in. w.c." in said.seen


@pytest.mark.django_db
def test_a_recorded_change_takes_the_proposal_away(planned: Planned) -> None:
    plan = planned(FALLEN, changes=["2026-01-10"])
    assert plan.findings == []
    assert plan.life_began_on == date(2026, 1, 10)


@pytest.mark.django_db
def test_a_jump_moves_no_date(planned: Planned) -> None:
    plan = planned([*STEADY, ("2026-02-01", 0.33)])
    assert kinds(plan) == ["jump"]
    dated = (plan.due_on, plan.p10_on, plan.p50_on, plan.p90_on)
    FilterSlot.objects.get().readings.get(taken_at__date=date(2026, 2, 1)).delete()
    due.replan(NOW, FilterSlot.objects.all())
    without = Plan.objects.get()
    assert (without.due_on, without.p10_on, without.p50_on, without.p90_on) == dated
    assert without.findings == []


@pytest.mark.django_db
def test_a_drop_beyond_the_blower_is_told_and_left_out(planned: Planned) -> None:
    plan = planned([*STEADY, ("2026-05-10", 1.9)], rated_external_static_inwc=0.5)
    assert kinds(plan) == ["beyond_blower"]
    assert plan.findings[0]["beside_pa"] == pytest.approx(0.75 * 249.08891)
    assert "readings:3" in plan.notes


@pytest.mark.django_db
def test_grille_readings_are_told_once_and_all_left_out(planned: Planned) -> None:
    read = [("2026-01-13", 0.30), ("2026-03-01", 0.31), ("2026-03-25", 0.29), ("2026-05-01", 0.31)]
    plan = planned(read, changes=["2026-01-10", "2026-03-20"])
    assert kinds(plan) == ["grille"]
    assert len(plan.findings[0]["at"]) == 4
    assert "readings:0" in plan.notes


@pytest.mark.django_db
def test_a_reading_below_clean_is_told_with_what_clean_would_be(planned: Planned) -> None:
    plan = planned([*STEADY, ("2026-05-01", 0.03)])
    assert kinds(plan) == ["below_clean"]
    assert plan.findings[0]["beside_pa"] == pytest.approx(0.10 * 249.08891, rel=1e-3)


@pytest.mark.django_db
@pytest.mark.parametrize(("read", "told"), [(0.07, ["hardly_clean"]), (0.08, [])])
def test_a_reading_somewhat_below_clean_is_told_too(planned: Planned, read: float, told: list[str]) -> None:
    assert kinds(planned([("2026-05-01", read)])) == told


def log(last: date, days: int = 60) -> list[dict[str, object]]:
    return [
        {"system": "air", "date": (last - timedelta(days=ago)).isoformat(), "fan_hours": 5}
        for ago in range(days)
    ]


@pytest.mark.django_db
def test_a_log_of_few_hours_beside_a_loaded_filter_is_told_and_assumed_less(planned: Planned) -> None:
    idle = [row | {"fan_hours": 0.1} for row in log(date(2026, 5, 11), 200)]
    plan = planned([("2026-03-01", 0.19), ("2026-05-01", 0.22)], changes=["2026-01-10"], fan=idle)
    assert "idle_log" in kinds(plan)
    assert "log_doubted" in plan.notes
    assert not {"no_log", "short_log"} & set(plan.notes)
    assumed = explain(plan.slot, plan, NOW.date(), Policy.the()).assumed
    assert any("as if it ran more" in line for line in assumed)


@pytest.mark.django_db
@pytest.mark.parametrize(("last", "told"), [(date(2026, 4, 28), ["log_stopped"]), (date(2026, 4, 29), [])])
def test_a_log_that_said_nothing_for_a_fortnight_is_told(
    planned: Planned, last: date, told: list[str]
) -> None:
    assert kinds(planned(fan=log(last))) == told


@pytest.mark.django_db
def test_a_finding_of_a_past_filter_is_kept_but_not_counted(planned: Planned) -> None:
    plan = planned([*STEADY, ("2026-02-01", 0.33)], changes=["2026-04-20"])
    assert kinds(plan) == ["jump"]
    assert plan.finding_count == 0


@pytest.mark.django_db
def test_every_kind_has_words(planned: Planned) -> None:
    plan = planned(FALLEN)
    for kind in TITLES:
        (said,) = say_all([{**plan.findings[0], "kind": kind}], "ip")
        assert said.seen
        assert said.dated
        assert said.look
        assert "%(" not in said.seen + said.dated


@pytest.mark.django_db
def test_several_of_a_kind_are_told_once_with_their_number(planned: Planned) -> None:
    plan = planned([*STEADY, ("2026-05-01", 0.03), ("2026-05-03", 0.02), ("2026-05-05", 0.02)])
    (said,) = say_all(plan.findings, "ip")
    assert said.on == date(2026, 5, 5)
    assert "2 more like it" in said.seen


@pytest.mark.django_db
def test_a_new_filter_that_reads_high_is_told_at_its_first_reading(planned: Planned) -> None:
    plan = planned([("2026-05-11", 0.16)], ["2026-05-10"])
    assert kinds(plan) == ["high_new"]
    said = say_all(plan.findings, "us")[0]
    assert "0.16" in said.seen
    assert "0.10" in said.seen
    assert said.present


@pytest.mark.django_db
def test_the_same_high_reading_twice_in_one_visit_is_not_taken_for_a_grille(planned: Planned) -> None:
    once = planned([("2026-05-11", 0.16)], ["2026-05-10"])
    FilterSlot.objects.get().readings.create(
        taken_at=datetime(2026, 5, 11, 14, 2, tzinfo=UTC), filter_drop_pa=once.findings[0]["seen_pa"]
    )
    due.replan(NOW, FilterSlot.objects.all())
    assert kinds(Plan.objects.get()) == ["high_new"]


@pytest.mark.parametrize("kind", TITLES)
def test_no_sentence_of_a_finding_ends_twice(kind: str) -> None:
    row = found(kind, [740000.0], True, seen_pa=80.0, beside_pa=40.0, until="2026-05-01", began="2026-04-01")
    told = say(row, "ip")
    assert not any(".." in text or "–" in text for text in (told.seen, told.dated, told.look))


@pytest.mark.django_db
def test_what_the_record_itself_says_is_wrong_is_a_finding_too(planned: Planned) -> None:
    tight = {"return_budget_inwc": 0.3, "return_static_inwc": 0.25}
    plan = planned(STEADY, **tight)
    assert "nothing_left" in kinds(plan)
    said = next(said for said in say_all(plan.findings, "us") if said.kind == "nothing_left")
    assert "0.10" in said.seen
