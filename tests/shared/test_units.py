"""What people type becomes SI, and comes back as they read it."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import units
from shared.units import AIRFLOW, CAPACITY, PRESSURE, TEMPERATURE, VELOCITY, Kind, NotAQuantity

KINDS = [PRESSURE, AIRFLOW, VELOCITY, CAPACITY, TEMPERATURE]


def test_a_fresh_registry_reads_cfm_as_a_length_and_ours_does_not() -> None:
    """The trap that the registry's definitions are for: c-fm is the centi-femtometre."""
    assert pint.UnitRegistry()("cfm").check("[length]")
    assert units.to_si(1, "cfm", AIRFLOW) == pytest.approx(0.3048**3 / 60)


def test_a_fresh_registry_does_not_know_fpm_and_ours_does() -> None:
    with pytest.raises(pint.UndefinedUnitError):
        pint.UnitRegistry()("fpm")
    assert units.to_si(1, "fpm", VELOCITY) == pytest.approx(0.3048 / 60)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("0.5", PRESSURE, 0.5 * 249.08891),
        ("0.5 in. w.c.", PRESSURE, 0.5 * 249.08891),
        ('0.5"', PRESSURE, 0.5 * 249.08891),
        ("125 Pa", PRESSURE, 125.0),
        ("0,5", PRESSURE, 0.5 * 249.08891),
        ("800", AIRFLOW, 800 * 0.3048**3 / 60),
        ("800 CFM", AIRFLOW, 800 * 0.3048**3 / 60),
        ("400 L/s", AIRFLOW, 0.4),
        ("720 m³/h", AIRFLOW, 0.2),
        ("300 fpm", VELOCITY, 1.524),
        ("2.5 tons", CAPACITY, 2.5 * 3516.8528),
        ("36000 Btu/h", CAPACITY, 3 * 3516.8528),
        ("10 kW", CAPACITY, 10_000.0),
        ("65 °F", TEMPERATURE, 18.0 + 1 / 3),
        ("-40", TEMPERATURE, -40.0),
    ],
)
def test_what_people_type(text: str, kind: Kind, si: float) -> None:
    assert units.parse(text, kind) == pytest.approx(si, rel=1e-6)


def test_a_bare_number_is_in_the_units_the_reader_sees() -> None:
    assert units.parse("125", PRESSURE, "si") == 125.0
    assert units.parse("400", AIRFLOW, "si") == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("", PRESSURE), ("much", PRESSURE), ("nan", PRESSURE), ("inf", PRESSURE), ("1e999", PRESSURE),
        ("3 cfm", PRESSURE), ("3 Pa", AIRFLOW), ("3 furlongs", PRESSURE), ("0.5 0.6", PRESSURE),
        ("--1", PRESSURE), ("12 tons", AIRFLOW),
    ],
)  # fmt: skip
def test_what_is_no_such_quantity_is_refused(text: str, kind: Kind) -> None:
    with pytest.raises(NotAQuantity):
        units.parse(text, kind)


@pytest.mark.parametrize(
    ("text", "kind", "same"),
    [
        ("1,200", AIRFLOW, "1200"), ("1,200 cfm", AIRFLOW, "1200"), ("1,200.5 l/s", AIRFLOW, "1200.5 l/s"),
        ("0,9 l/s", AIRFLOW, "0.9 l/s"), ("0,125", PRESSURE, "0.125"), (",5", PRESSURE, "0.5"),
        ("1,25 in", PRESSURE, "1.25"), ("-0,3", PRESSURE, "-0.3"), ("1,250.5 Pa", PRESSURE, "1250.5 Pa"),
    ],
)  # fmt: skip
def test_commas_part_thousands_or_stand_for_a_point(text: str, kind: Kind, same: str) -> None:
    assert units.parse(text, kind) == pytest.approx(units.parse(same, kind))
    assert units.has_unit(text) == text[-1].isalpha()


def test_a_comma_that_may_be_either_is_asked_about() -> None:
    with pytest.raises(NotAQuantity, match=r"may be 1250 or 1\.250"):
        units.parse("1,250 Pa", PRESSURE)


@given(value=st.floats(-1e6, 1e6), kind=st.sampled_from(KINDS), system=st.sampled_from(["ip", "si"]))
def test_a_figure_survives_the_way_out_and_back(value: float, kind: Kind, system: str) -> None:
    shown = units.show(value, kind, system, decimals=9)
    assert units.parse(shown, kind, system) == pytest.approx(value, rel=1e-6, abs=1e-3)


@given(text=st.text(max_size=20), kind=st.sampled_from(KINDS))
def test_any_text_is_a_finite_number_or_refused(text: str, kind: Kind) -> None:
    try:
        assert math.isfinite(units.parse(text, kind))
    except NotAQuantity:
        pass


def test_a_figure_rounded_to_nought_has_no_sign_and_an_unknown_one_is_a_dash() -> None:
    assert units.show(-0.1, PRESSURE) == "0.00 in. w.c."
    assert units.show(None, PRESSURE) == "–"
    assert units.show(249.08891, PRESSURE) == "1.00 in. w.c."
    assert units.show(249.08891, PRESSURE, "si") == "249 Pa"


def test_the_plain_factors_agree_with_the_registry() -> None:
    assert units.cfm(350) == pytest.approx(units.to_si(350, "cfm", AIRFLOW))
    assert units.inwc(0.5) == pytest.approx(units.to_si(0.5, "inwc", PRESSURE))
    assert units.tons(3) == pytest.approx(units.to_si(3, "tonR", CAPACITY))
    assert units.celsius(65) == pytest.approx(units.to_si(65, "degF", TEMPERATURE))


SCALES = {
    "cfm": (units.cfm, lambda value: value / units.M3S_PER_CFM),
    "inwc": (units.inwc, lambda value: value / units.PA_PER_INWC),
    "tons": (units.tons, lambda value: value / units.W_PER_TON),
    "°F": (units.celsius, units.fahrenheit),
}


@pytest.mark.parametrize("unit", SCALES)
@given(value=st.one_of(st.floats(1e-6, 60), st.integers(-6000, 6000).map(lambda tenths: tenths / 100)))
def test_what_was_written_is_written_the_same_once_it_was_read(unit: str, value: float) -> None:
    to_si, from_si = SCALES[unit]
    text = units.written(value, to_si, from_si)
    again = to_si(float(text))
    assert again == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert units.written(again, to_si, from_si) == text


@pytest.mark.parametrize("unit", SCALES)
@given(typed=st.integers(-130_000, 140_000))
def test_what_was_typed_is_written_as_it_was_typed(unit: str, typed: int) -> None:
    to_si, from_si = SCALES[unit]
    text = units.written(to_si(typed / 1000), to_si, from_si)
    assert float(text) == typed / 1000
    assert len(text) <= 8


@given(value=st.floats(allow_nan=False, allow_infinity=False))
def test_a_plain_number_comes_back_bit_for_bit(value: float) -> None:
    assert float(units.plain(value)).hex() == value.hex()


def test_a_whole_number_has_no_point() -> None:
    assert (units.plain(24.0), units.plain(7.5)) == ("24", "7.5")


@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        (kind, unit)
        for kind in vars(units).values()
        if isinstance(kind, units.Kind)
        for unit in sorted({kind.inch_pound[0], kind.metric[0], kind.si})
    ],
    ids=str,
)
@given(value=st.floats(-1e6, 1e6))
def test_a_number_comes_out_as_the_registry_itself_has_it(kind: units.Kind, unit: str, value: float) -> None:
    """To the last bit: what was exported must come back as it was."""
    registry = units._REGISTRY
    assert units.to_si(value, unit, kind) == registry.Quantity(value, unit).to(kind.si).magnitude
    assert units.from_si(value, unit, kind) == registry.Quantity(value, kind.si).to(unit).magnitude
