"""Quantities as people type them: what no home has is refused where it was typed."""

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from equipment.fields import DropField, QuantityField, TableField
from shared.units import AIRFLOW, CAPACITY, DIAMETER, PA_PER_INWC, PRESSURE, Kind, spellings


@pytest.mark.parametrize(
    ("kind", "typed", "why"),
    [
        (PRESSURE, "12", "at most 10"),
        (PRESSURE, "3000 Pa", "at most 10"),
        (PRESSURE, "-0.1", "without its sign"),
        (AIRFLOW, "60000", "at most 50"),
        (AIRFLOW, "0", "above 0"),
        (CAPACITY, "0", "above 0"),
        (PRESSURE, "1e999", "1e999|finite|number"),
        (PRESSURE, "nan", "nan|number"),
    ],
)
def test_what_no_home_has_is_refused(kind: Kind, typed: str, why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        QuantityField(kind, required=False).clean(typed)


@pytest.mark.parametrize(
    ("kind", "typed"), [(PRESSURE, "0"), (PRESSURE, "10 in. w.c."), (AIRFLOW, "50000 cfm")]
)
def test_the_bounds_themselves_are_good(kind: Kind, typed: str) -> None:
    assert QuantityField(kind, required=False).clean(typed) is not None


@pytest.mark.parametrize(
    ("kind", "system", "typed", "other"),
    [
        (PRESSURE, "ip", "5", "5 Pa"),
        (PRESSURE, "si", "0.25", "0.25 in. w.c."),
        (CAPACITY, "ip", "10.5", "10.5 kW"),
        (CAPACITY, "si", "1", "1 tons"),
        (AIRFLOW, "si", "9", "9 cfm"),
    ],
)
def test_a_bare_number_of_the_other_unit_s_size_is_asked_about(
    kind: Kind, system: str, typed: str, other: str
) -> None:
    field = QuantityField(kind, system, required=False)
    with pytest.raises(ValidationError, match=other):
        field.clean(typed)
    assert field.clean(other) is not None
    assert field.clean(f"{typed} {field.unit}") is not None


def test_an_inch_is_one_of_water_or_one_of_length() -> None:
    assert QuantityField(PRESSURE).clean("1 in") == pytest.approx(249.08891)
    assert QuantityField(DIAMETER).clean("14 in") == pytest.approx(14 * 0.0254)
    assert QuantityField(DIAMETER, "si").clean("350") == pytest.approx(0.35)
    with pytest.raises(ValidationError, match="not a unit"):
        QuantityField(DIAMETER).clean("3 Pa")


def test_inches_typed_where_pascals_are_read_are_asked_about() -> None:
    field = QuantityField(PRESSURE, "si", required=False)
    with pytest.raises(ValidationError, match="would be unusual"):
        field.clean("0.6")
    assert field.clean("0.6 Pa") == pytest.approx(0.6)
    assert field.clean("60") == pytest.approx(60)


@pytest.mark.parametrize(
    ("system", "typed"), [("si", "800:0.5; 1000:0.3"), ("ip", "400:9; 600:5"), ("ip", "10:0.5; 12:0.3")]
)
def test_a_table_in_other_units_is_asked_about(system: str, typed: str) -> None:
    field = TableField(required=False)
    field.system = system
    with pytest.raises(ValidationError, match="would be unusual"):
        field.clean(typed)


@pytest.mark.parametrize(
    ("system", "typed", "drop_pa", "shown"),
    [
        ("ip", "0.42-0.18", 0.24 * PA_PER_INWC, "0.42-0.18 = 0.24 in. w.c."),
        ("ip", "0,42 - 0,18", 0.24 * PA_PER_INWC, "= 0.24 in. w.c."),
        ("ip", ".42 − .18 in. w.c.", 0.24 * PA_PER_INWC, "= 0.24 in. w.c."),
        ("ip", "105-45 Pa", 60.0, "= 0.24 in. w.c."),
        ("si", "105 Pa - 45", 60.0, "= 60 Pa"),
        ("si", "0.42 in-45 Pa", 0.42 * PA_PER_INWC - 45, "= 60 Pa"),
        ("ip", "-0.18 - -0.42", 0.24 * PA_PER_INWC, "= 0.24 in. w.c."),
        ("ip", "0.24", 0.24 * PA_PER_INWC, ""),
        ("ip", "1e-1", 0.1 * PA_PER_INWC, ""),
    ],
)
def test_two_statics_come_to_a_drop(system: str, typed: str, drop_pa: float, shown: str) -> None:
    field = DropField(required=False)
    field.system = system
    assert field.clean(typed) == pytest.approx(drop_pa)
    assert field.worked_out.endswith(shown)
    assert bool(field.worked_out) == bool(shown)


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("0.18-0.42", "0.18-0.42 is below nought.*tubes.*swapped"),
        ("-0.2", "tubes.*swapped"),
        ("105-45", "at most 10.*105-45 Pa"),
        ("5.5-0.5", "Write the unit behind it: 5.5-0.5 Pa"),
        ("0.42-0.18 cfm", "cfm"),
        ("0.42-", "unit|number"),
        ("0.42-0.18-0.1", "unit|number"),
        ("a-b", "number"),
    ],
)
def test_two_statics_that_are_no_drop_are_refused(typed: str, why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        DropField(required=False).clean(typed)


@given(st.floats(0, 9), st.floats(0, 9), st.sampled_from(["-", " - ", " − ", "–"]))
def test_any_two_statics_are_subtracted(one: float, other: float, minus: str) -> None:
    typed = f"{one:.3f}{minus}{other:.3f} in. w.c."
    expected = (round(one, 3) - round(other, 3)) * PA_PER_INWC
    if expected < -1e-9:
        with pytest.raises(ValidationError, match="below nought"):
            DropField(required=False).clean(typed)
    elif expected > 1e-9:
        assert DropField(required=False).clean(typed) == pytest.approx(expected, abs=1e-6)


@given(st.text(max_size=20))
def test_a_drop_is_read_or_refused_in_words(typed: str) -> None:
    try:
        drop = DropField(required=False).clean(typed)
    except ValidationError:
        return
    assert drop is None or drop >= 0


def test_an_si_number_of_every_spelling_is_known() -> None:
    assert spellings(PRESSURE)["pa"] == 1.0
    assert spellings(PRESSURE)["in. w.c."] == pytest.approx(PA_PER_INWC)
    assert "cfm" not in spellings(PRESSURE)
    assert spellings(DIAMETER)["in"] == pytest.approx(0.0254)


@pytest.mark.parametrize(
    ("typed", "pascals"),
    [
        ("0.42-0.18", 0.24 * PA_PER_INWC), (",42-,18", 0.24 * PA_PER_INWC), ("105 - 45 Pa", 60.0),
        ("105 Pa − 45", 60.0), ("0.42 in.w.c. - 0.1", 0.32 * PA_PER_INWC), ("1,250.5-1,000.5 Pa", 250.0),
        ("0.5 in. w.c. – 25 Pa", 0.5 * PA_PER_INWC - 25.0), ("1e-1", 0.1 * PA_PER_INWC),
    ],
)  # fmt: skip
def test_two_statics_are_parted_whatever_the_commas_and_units(typed: str, pascals: float) -> None:
    assert DropField(required=False).clean(typed) == pytest.approx(pascals)


@pytest.mark.parametrize(
    "typed", ["0.42-", "-0.42-0.18 furlongs", "0.42 inw", "0.42-0.18-0.1", "0,4,", "1.200,5"]
)
def test_what_is_no_drop_is_refused(typed: str) -> None:
    with pytest.raises(ValidationError):
        DropField(required=False).clean(typed)
