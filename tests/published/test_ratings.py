"""What laboratories and codes print, each with its source beside it."""

import pytest

from equipment.airside.ratings import blower_efficiency, iso_class, laboratory_end_point, most_fan_power
from equipment.airside.refused import BadFigure
from shared.units import M3S_PER_CFM, PA_PER_INWC


@pytest.mark.parametrize(("clean", "end"), [(0.28, 0.60), (0.35, 0.70)])
def test_a_laboratory_ends_at_the_larger_of_its_table_and_twice_clean(clean: float, end: float) -> None:
    """ASHRAE 52.2 as quoted in a second source, MERV 8."""
    assert laboratory_end_point(clean * PA_PER_INWC) == pytest.approx(end * PA_PER_INWC)


@pytest.mark.parametrize(
    ("found", "name"),
    [
        ((69.9, 80.0, 90.0), "ISO ePM1 65 %"),
        ((49.9, 49.9, 49.9), "ISO Coarse"),
        ((20.0, 50.0, 70.0), "ISO ePM2.5 50 %"),
        ((20.0, 30.0, 99.9), "ISO ePM10 95 %"),
    ],
)
def test_iso_classes_go_down_in_steps_of_five(found: tuple[float, float, float], name: str) -> None:
    """ISO 16890-1:2016 as quoted in a second source; the third and fourth are the rule applied."""
    assert iso_class(*found) == name


@pytest.mark.parametrize(
    ("kind", "watts"), [({}, 580.0), ({"gas_furnace": True}, 450.0), ({"high_velocity": True}, 620.0)]
)
def test_fans_may_draw_so_much_for_a_thousand_cfm(kind: dict[str, bool], watts: float) -> None:
    """California Title 24 150.0(m)13, its summary."""
    assert most_fan_power(1000 * M3S_PER_CFM, **kind) == pytest.approx(watts)


@pytest.mark.parametrize(("watts_a_cfm", "share"), [(0.45, 0.131), (0.58, 0.101)])
def test_the_code_s_limits_are_efficiencies_at_half_an_inch(watts_a_cfm: float, share: float) -> None:
    """Derived from Title 24's limits: 0.11756 W a cfm-inch."""
    found = blower_efficiency(M3S_PER_CFM, 0.5 * PA_PER_INWC, watts_a_cfm)
    assert found == pytest.approx(share, rel=0.005)


@pytest.mark.parametrize("wrong", [-1.0, 100.1, float("nan")])
def test_efficiencies_lie_from_nought_to_a_hundred(wrong: float) -> None:
    with pytest.raises(BadFigure):
        iso_class(wrong, 50.0, 50.0)
