"""Quantities as people type them: what no home has is refused where it was typed."""

import pytest
from django.core.exceptions import ValidationError

from equipment.fields import QuantityField
from shared.units import AIRFLOW, CAPACITY, PRESSURE, Kind


@pytest.mark.parametrize(
    ("kind", "typed", "why"),
    [
        (PRESSURE, "12", "at most 10"),
        (PRESSURE, "3000 Pa", "at most 10"),
        (PRESSURE, "-0.1", "at least 0"),
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


@pytest.mark.parametrize(("kind", "typed"), [(PRESSURE, "0"), (PRESSURE, "10"), (AIRFLOW, "50000")])
def test_the_bounds_themselves_are_good(kind: Kind, typed: str) -> None:
    assert QuantityField(kind, required=False).clean(typed) is not None
