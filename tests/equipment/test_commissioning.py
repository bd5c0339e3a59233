"""The air-side record: what is refused, what the system's figures become, what follows from them."""

from datetime import timedelta

import pytest

from equipment.air_side import air_side, return_loss, table_at_home
from equipment.commissioning import Measured, carry_again, record_air, take_back
from equipment.models import AirRecord, FilterSlot, System
from equipment.record import NotRecordable
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC, W_PER_TON
from tests.factories import NOW, FilterSlotFactory, SystemFactory

pytestmark = pytest.mark.django_db
INWC, CFM = PA_PER_INWC, M3S_PER_CFM


@pytest.fixture
def system() -> System:
    """Three tons, conventional, designed for 1,200 cfm, half an inch of rated static."""
    made: System = SystemFactory(
        kind=System.Kind.CONVENTIONAL, capacity_w=3 * W_PER_TON, design_airflow_m3s=1200 * CFM,
        rated_external_static_pa=0.5 * INWC,
    )  # fmt: skip
    return made


def test_statics_are_kept_as_they_would_be_at_design_airflow(system: System) -> None:
    told = Measured(airflow_m3s=1000 * CFM, return_static_pa=0.10 * INWC, supply_static_pa=0.18 * INWC)
    record_air(system, told, NOW, None, NOW)
    system.refresh_from_db()
    # 1.2 squared is 1.44.
    assert system.return_static_pa == pytest.approx(0.144 * INWC)
    assert system.supply_static_pa == pytest.approx(0.2592 * INWC)
    assert AirRecord.objects.get().return_static_pa == pytest.approx(0.10 * INWC)


def test_an_older_record_changes_nothing_of_what_a_newer_one_said(system: System) -> None:
    record_air(system, Measured(return_static_pa=50.0), NOW, None, NOW)
    record_air(system, Measured(return_static_pa=20.0), NOW - timedelta(days=9), None, NOW)
    system.refresh_from_db()
    assert system.return_static_pa == 50.0
    assert system.air_records.count() == 2


def test_the_filters_drop_comes_off_a_return_static_read_behind_it(system: System) -> None:
    told = Measured(return_static_pa=0.30 * INWC, filter_in=True, filter_drop_pa=0.18 * INWC)
    assert record_air(system, told, NOW, None, NOW).return_static_pa == pytest.approx(0.12 * INWC)


@pytest.mark.parametrize(
    ("told", "why"),
    [
        (Measured(return_static_pa=30.0, filter_in=True), "drop of that moment"),
        (Measured(return_static_pa=30.0, filter_in=True, filter_drop_pa=31.0), "check both ports"),
        (Measured(return_static_pa=2600.0), "Check the unit"),
        (Measured(supply_static_pa=-1.0), "Check the unit"),
        (Measured(airflow_m3s=0.0), "above 0"),
        (Measured(airflow_m3s=90.0), "what a home"),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_no_trace(system: System, told: Measured, why: str) -> None:
    with pytest.raises(NotRecordable, match=why):
        record_air(system, told, NOW, None, NOW)
    assert not AirRecord.objects.exists()


def test_neither_a_moment_to_come_nor_the_same_one_twice(system: System) -> None:
    with pytest.raises(NotRecordable, match="to come"):
        record_air(system, Measured(coil="wet"), NOW + timedelta(hours=1), None, NOW)
    record_air(system, Measured(coil="wet"), NOW, None, NOW)
    with pytest.raises(NotRecordable, match="already on record"):
        record_air(system, Measured(coil="dry"), NOW, None, NOW)


def test_every_slot_of_the_system_is_dated_anew(system: System) -> None:
    slot = FilterSlotFactory(system=system)
    later = NOW + timedelta(hours=1)
    record_air(system, Measured(supply_static_pa=40.0), NOW, None, later)
    assert FilterSlot.objects.get(pk=slot.pk).facts_changed_at == later


def test_budgets_floor_and_external_static_by_hand(system: System) -> None:
    system.return_budget_pa = 0.25 * INWC
    told = Measured(
        airflow_m3s=1200 * CFM, return_static_pa=0.08 * INWC, supply_static_pa=0.25 * INWC,
        filter_drop_pa=0.10 * INWC,
    )  # fmt: skip
    record_air(system, told, NOW, None, NOW)
    side = air_side(system, [])
    assert side.floor.value == pytest.approx(1050 * CFM)  # 350 cfm a ton
    assert not side.below_floor
    assert side.external_pa == pytest.approx(0.43 * INWC)
    left = {one.name: one.left / INWC for one in side.budgets}
    assert left == {"return": pytest.approx(0.17), "rated": pytest.approx(0.17)}


def test_the_units_own_floor_wins(system: System) -> None:
    system.airflow_floor_m3s = 1250 * CFM
    side = air_side(system, [])
    assert side.floor.value == pytest.approx(1250 * CFM)
    assert side.below_floor  # the design airflow, while nothing was measured


def test_the_return_path_is_held_to_the_tables(system: System) -> None:
    system.return_ducts = [{"diameter_m": inch * METRE_PER_INCH, "length_m": None} for inch in (16, 12)]
    slots = [FilterSlotFactory.build(system=system), FilterSlotFactory.build(system=system)]
    path = air_side(system, slots).path
    # Three tons with two returns: 16 and 14 in., 900 square inches; two 16x25 are 800.
    assert [round(one.least / METRE_PER_INCH) for one in path.narrow if one.part == "return duct"] == [14]
    assert [one.part for one in path.narrow] == ["return duct", "return grille"]
    # 1,200 cfm at 150 feet a minute are 1,152 square inches.
    assert path.thin_face_m2 == pytest.approx(1152 * METRE_PER_INCH**2)


def test_nothing_known_is_said_and_not_judged() -> None:
    side = air_side(SystemFactory(kind="", capacity_w=None), [])
    assert side.path.want is None
    assert side.path.not_judged == "capacity"
    assert (side.design.basis, side.return_static.basis, side.tightest) == ("unknown", "assumed", None)
    assert not side.below_floor


def test_two_equal_ducts_lose_what_one_does_with_half_the_air() -> None:
    duct = {"diameter_m": 0.35, "length_m": 6.0, "flexible": False, "compression": 0.0}
    one = return_loss([duct], 0.0, 0.25)
    assert return_loss([duct, duct], 0.0, 0.5) == pytest.approx(one)
    slack = {**duct, "flexible": True, "compression": 0.15}
    assert one is not None
    assert (return_loss([slack], 0.0, 0.25) or 0.0) > 2 * one
    assert return_loss([{**duct, "length_m": None}], 0.0, 0.25) is None


def test_a_grille_adds_its_own_and_thin_air_takes_less() -> None:
    duct = {"diameter_m": 0.35, "length_m": 6.0, "flexible": False, "compression": 0.0}
    bare, with_grille = return_loss([duct], 0.0, 0.4), return_loss([duct], 0.25, 0.4)
    assert bare is not None
    assert with_grille is not None
    # 1.5 times half the density times the square of the speed between the bars: 0.4 m3/s, 3/4 of 0.25 m2.
    assert with_grille - bare == pytest.approx(1.5 * 0.5 * 1.204 * (0.4 / 0.1875) ** 2, rel=1e-3)
    assert (return_loss([duct], 0.25, 0.4, 1609.344) or 0.0) < 0.86 * with_grille


def test_a_blower_gives_less_static_in_thin_air(system: System) -> None:
    system.blower_table = [[0.4, 200.0], [0.6, 50.0]]
    system.site.altitude_m = 1609.344
    # 83,431.8 Pa at 5,280 ft against 101,325.
    ratio = 83_431.8 / 101_325
    assert table_at_home(system) == [[0.4, pytest.approx(200 * ratio)], [0.6, pytest.approx(50 * ratio)]]


def test_statics_are_carried_to_an_assumed_design_airflow_too(system: System) -> None:
    system.design_airflow_m3s = None
    system.save()
    # Three tons at 350 cfm a ton are 1,050 cfm.
    told = Measured(airflow_m3s=900 * CFM, return_static_pa=0.18 * INWC)
    record_air(system, told, NOW, None, NOW)
    system.refresh_from_db()
    assert system.return_static_pa == pytest.approx(0.18 * (1050 / 900) ** 2 * INWC)


def test_another_design_airflow_carries_the_measured_statics_again(system: System) -> None:
    record_air(system, Measured(airflow_m3s=1000 * CFM, return_static_pa=0.10 * INWC), NOW, None, NOW)
    system.supply_static_pa = 7.0
    system.design_airflow_m3s = 800 * CFM
    carry_again(system)
    assert system.return_static_pa == pytest.approx(0.064 * INWC)
    assert system.supply_static_pa == 7.0  # never measured: as it was


def test_an_airflow_a_meter_cannot_tell_from_the_floor_is_not_below_it(system: System) -> None:
    record_air(system, Measured(airflow_m3s=1045 * CFM), NOW, None, NOW)
    assert not air_side(system, []).below_floor
    record_air(system, Measured(airflow_m3s=1030 * CFM), NOW + timedelta(minutes=1), None, NOW)
    assert air_side(system, []).below_floor


def test_a_static_far_off_the_blowers_table_is_told(system: System) -> None:
    system.blower_table = [[800 * CFM, 0.8 * INWC], [1200 * CFM, 0.4 * INWC]]
    system.save()
    parts = {"return_static_pa": 0.05 * INWC, "supply_static_pa": 0.05 * INWC, "filter_drop_pa": 0.1 * INWC}
    record_air(system, Measured(airflow_m3s=1200 * CFM, **parts), NOW, None, NOW)
    side = air_side(system, [])
    assert side.off_table == (pytest.approx(0.2 * INWC), pytest.approx(0.4 * INWC))
    near = {"return_static_pa": 0.1 * INWC, "supply_static_pa": 0.2 * INWC, "filter_drop_pa": 0.1 * INWC}
    record_air(system, Measured(airflow_m3s=1200 * CFM, **near), NOW + timedelta(minutes=1), None, NOW)
    assert air_side(system, []).off_table is None


def test_statics_read_far_from_design_stand_as_read(system: System) -> None:
    system.design_airflow_m3s = 1000 * CFM
    system.save()
    record_air(system, Measured(airflow_m3s=75 * CFM, return_static_pa=0.30 * INWC), NOW, None, NOW)
    system.refresh_from_db()
    assert system.return_static_pa == pytest.approx(0.30 * INWC)


def test_what_was_written_down_after_a_newer_one_is_taken_back_without_a_trace(system: System) -> None:
    system.return_static_pa = 20.0
    system.design_airflow_m3s = 1000 * CFM
    system.save()
    newer = record_air(system, Measured(airflow_m3s=1000 * CFM, return_static_pa=30.0), NOW, None, NOW)
    day_before = NOW - timedelta(days=1)
    older = record_air(system, Measured(airflow_m3s=1000 * CFM, return_static_pa=40.0), day_before, None, NOW)
    take_back(older, NOW)
    system.refresh_from_db()
    assert system.return_static_pa == pytest.approx(30.0)
    take_back(AirRecord.objects.get(pk=newer.pk), NOW)
    system.refresh_from_db()
    assert system.return_static_pa == pytest.approx(20.0)
