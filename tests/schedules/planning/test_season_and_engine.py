"""What is supposed of a season against the engine itself, asked anew under the same supposition."""

from dataclasses import replace

import numpy as np
import pytest

from schedules.planning.facts import FleetFacts, Settings
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.season import Smoke, split_normal, split_quantile
from tests.schedules.planning.fleet import AS_OF, one_slot

AT_FIFTH = Settings(0.2, None, 0)


def spread(found: FleetForecast) -> tuple[np.ndarray, np.ndarray]:
    return (found.p50 - found.p10).astype(float), (found.p90 - found.p50).astype(float)


@pytest.mark.parametrize("days_in", [10, 40, 90])
@pytest.mark.parametrize("risk", [0.05, 0.1, 0.3, 0.4, 0.6])
def test_another_risk_moves_the_due_day_as_the_engine_does(days_in: float, risk: float) -> None:
    facts = one_slot(days_in=days_in)
    usual, asked = forecast(facts, AT_FIFTH), forecast(facts, Settings(risk, None, 0))
    low, high = spread(usual)
    ours = (split_quantile(risk, low, high) - split_quantile(0.2, low, high))[0]
    # Within a sixth of the span from p10 to p90: the true distribution is no split normal.
    assert ours == pytest.approx((asked.due - usual.due)[0], abs=(low + high)[0] / 6 + 1)


@pytest.mark.parametrize("days_in", [10, 40, 90])
def test_the_split_normal_goes_through_the_engines_own_risk_day(days_in: float) -> None:
    found = forecast(one_slot(days_in=days_in), AT_FIFTH)
    low, high = spread(found)
    chance = split_normal(found.due.astype(float), found.p50.astype(float), low, high)[0]
    assert chance == pytest.approx(0.2, abs=0.06)


def smoky(facts: FleetFacts, smoke: Smoke) -> FleetFacts:
    systems = facts.systems
    ahead = np.ones((1, 365))
    ahead[0, smoke.first : smoke.first + smoke.days] = smoke.factor
    return replace(
        facts, systems=replace(systems, dust=np.ones_like(systems.hours), dust_ahead=ahead)
    )  # fmt: skip


@pytest.mark.parametrize("smoke", [Smoke(7, 14, 3.0), Smoke(20, 28, 2.0), Smoke(0, 7, 5.0)])
@pytest.mark.parametrize("days_in", [10, 40])
def test_smoke_brings_the_due_day_as_the_engine_does(days_in: float, smoke: Smoke) -> None:
    facts = one_slot(days_in=days_in)
    usual, dusty = forecast(facts, AT_FIFTH), forecast(smoky(facts, smoke), AT_FIFTH)
    days = np.arange(400.0)
    ours = np.interp((usual.due - AS_OF)[0], smoke.clock(days), days)
    sooner = (usual.due - dusty.due)[0]
    assert sooner > 4
    assert ours == pytest.approx((dusty.due - AS_OF)[0], abs=max(3.0, 0.15 * sooner))
