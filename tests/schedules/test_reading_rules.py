"""Questions by blower, clean filter and return static, on the server's side; what the script is told."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.models import FilterSlot, Reading
from schedules.air_forms import AirForm, VisitAirForm
from schedules.forms import JobFilterForm
from schedules.planning.loading import METER_PA
from schedules.reading_checks import drop_rules, total_rules
from schedules.reading_rules import ANYTHING, Rule
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import PlanFactory, SystemFactory

TABLE = [[0.3, 200.0], [0.5, 60.0]]


@pytest.fixture
def slot(home_slot: FilterSlot) -> FilterSlot:
    """25 Pa clean, 50 expected now; the blower is rated for 125 Pa, its table ends at 200."""
    PlanFactory(slot=home_slot, drop_now_pa=50.0, clean_drop_pa=25.0, limit_drop_pa=75.0)
    system = home_slot.system
    system.rated_external_static_pa, system.blower_table = 125.0, TABLE
    system.design_airflow_m3s = 800 * M3S_PER_CFM
    system.save()
    return FilterSlot.objects.select_related("plan", "system").get(pk=home_slot.pk)


def errors(slot: FilterSlot, units: str = "si", air: dict[str, str] | None = None, **typed: str) -> Any:
    """The faults of the slot's form of a visit with the air side beside it."""
    data = {f"slot{slot.pk}-{name}": value for name, value in ({"changed": "on"} | typed).items()}
    data |= {f"air{slot.system_id}-{name}": value for name, value in (air or {}).items()}
    return JobFilterForm(slot, units, data).errors


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"drop_after": "40"}, "drop_after", "clean filter of this kind takes about 25 Pa"),
        ({"drop_after": "12"}, "drop_after", "meter at nought"),
        ({"drop_after": "26", "changed": ""}, "drop_after", "Changed has no tick"),
        ({"drop_before": "60", "drop_after": "38", "air": {"return_static": "38", "filter_in": "in"}},
         "drop_after", "or the return static?"),
        ({"drop_before": "60", "changed": "", "air": {"return_static": "50", "filter_in": "in"}},
         "drop_before", "or the return static?"),
        ({"drop_before": "-60"}, "drop_before", "tubes"),
        ({"drop_before": "20-80"}, "drop_before", "20-80 is below nought"),
        ({"airflow": "900"}, "airflow", "of design"),
        ({"drop_before": "105-45 Pa"}, "drop_before", "read against the room"),
        ({"drop_before": "0.42 in - 0.18 in"}, "drop_before", "read against the room"),
    ],
)  # fmt: skip
def test_it_is_asked_at_its_field(slot: FilterSlot, typed: dict[str, Any], field: str, words: str) -> None:
    found = errors(slot, **typed)
    assert words in " ".join(found[field])
    if words not in ("tubes", "20-80 is below nought"):
        assert field not in errors(slot, sure="on", **typed)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "typed",
    [
        {"drop_before": "60", "drop_after": "26"},
        {"drop_before": "60", "drop_after": "26", "air": {"return_static": "26", "filter_in": ""}},
        {"drop_before": "60", "drop_after": "26", "air": {"return_static": "40", "filter_in": "in"}},
        # What the old filter took says nothing of a static read with the clean one in.
        {"drop_before": "60", "air": {"return_static": "50", "filter_in": "in"}},
        {"airflow": "300"},
    ],
)  # fmt: skip
def test_what_is_usual_is_not_asked_about(slot: FilterSlot, typed: dict[str, Any]) -> None:
    assert not errors(slot, **typed)


@pytest.mark.django_db
def test_another_medium_than_before_is_held_to_no_clean_drop(slot: FilterSlot) -> None:
    form = JobFilterForm(slot, "si", {f"slot{slot.pk}-changed": "on", f"slot{slot.pk}-drop_after": "44",
                                      f"slot{slot.pk}-medium": "5"})  # fmt: skip
    assert "drop_after" not in form.errors


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("statics", "field"),
    [
        ({"return_static": "120", "supply_static": "100"}, "supply_static"),
        ({"return_static": "150", "supply_static": "30"}, ""),
        ({"supply_static": "220"}, "supply_static"),
    ],
)
def test_return_and_supply_are_held_to_the_blower(
    slot: FilterSlot, statics: dict[str, str], field: str
) -> None:
    read = statics | ({"filter_in": "out"} if "return_static" in statics else {})
    data = {f"air{slot.system_id}-{name}": value for name, value in read.items()}
    form = VisitAirForm(slot.system, "si", data)
    assert set(form.errors) == {field} - {""}
    assert VisitAirForm(slot.system, "si", data | {f"air{slot.system_id}-sure": "on"}).is_valid()


@pytest.mark.django_db
def test_the_air_side_asks_too(slot: FilterSlot) -> None:
    typed = {"filter_drop": "100", "return_static": "90", "filter_in": "in"}
    assert "or the return static?" in AirForm(slot.system, "si", typed).errors["filter_drop"][0]


@pytest.mark.django_db
def test_the_form_shows_what_a_subtraction_comes_to(slot: FilterSlot) -> None:
    told = {"drop_before": "0.42-0.18", "changed": "on", "sure": "on"}
    data = {f"slot{slot.pk}-{name}": value for name, value in told.items()}
    form = JobFilterForm(slot, "ip", data)
    assert form.is_valid()
    assert form.cleaned_data["drop_before"] == pytest.approx(0.24 * PA_PER_INWC)
    assert "0.42-0.18 = 0.24 in. w.c." in form.as_p() + form.fields["drop_before"].worked_out  # type: ignore[attr-defined]
    assert not Reading.objects.exists()


@given(st.floats(50, 400), st.floats(50, 400), st.floats(1, 500))
def test_a_drop_is_asked_about_from_the_lower_of_rating_and_table_on(
    rated: float, top: float, drop: float
) -> None:
    system = SystemFactory.build(rated_external_static_pa=rated, blower_table=[[0.2, top], [0.4, 10.0]])
    (blower, _static) = drop_rules(system, "drop", "si", ("return_static", "filter_in"))
    bound = min(1.2 * rated, 1.05 * top + 2 * METER_PA)
    if abs(drop - bound) > 0.5:
        assert bool(blower.asked({"drop": drop}, {}, "si")) == (drop > bound)
    assert "table ends" in blower.text or "rated for" in blower.text


@given(st.floats(50, 400), st.floats(1, 1000), st.floats(1, 1000))
def test_a_sum_of_statics_is_usual_noted_or_asked_about(rated: float, back: float, out: float) -> None:
    system = SystemFactory.build(rated_external_static_pa=rated, blower_table=[])
    read = {"return_static": back, "supply_static": out}
    asked, noted = (bool(rule.asked(read, {}, "si")) for rule in total_rules(system, "", "si"))
    assert not asked or back + out > 1.5 * rated
    assert not noted or back + out >= rated
    assert asked or noted or back + out < rated


numbers = st.none() | st.floats(-1e4, 1e4)


@given(numbers, numbers, numbers, st.sampled_from(["", "on", "in"]), st.sampled_from([ANYTHING, "", "in"]))
def test_a_rule_asks_only_within_its_bounds(
    one: float | None, other: float | None, beside: float | None, stands: str, wanted: str
) -> None:
    rule = Rule(("a", "b"), "{value}", low=0.5, high=2.0, beside="c", only=(("d", wanted),))
    said = rule.asked({"a": one, "b": other, "c": beside}, {"d": stands}, "si")
    given_ = [value for value in (one, other) if value is not None]
    holds = bool(stands) if wanted == ANYTHING else stands == wanted
    within = bool(given_) and bool(beside) and 0.5 * beside <= sum(given_) <= 2 * beside  # type: ignore[operator]
    assert bool(said) == (holds and within)


@pytest.mark.django_db
def test_the_script_is_told_the_same_bounds_and_words(slot: FilterSlot) -> None:
    form = JobFilterForm(slot, "ip")
    attributes = form.fields["drop_before"].widget.attrs
    reads, rules = json.loads(attributes["data-reads"]), json.loads(attributes["data-rules"])
    assert (reads["unit"], reads["per"], reads["other"]) == ("in. w.c.", pytest.approx(PA_PER_INWC), "Pa")
    assert reads["units"]["pa"] == 1.0
    mine = [rule for rule in form.rules if rule.names[0] == f"slot{slot.pk}-drop_before"]
    assert [rule["text"] for rule in rules] == [rule.text for rule in mine]
    bounds = [(max(rule.low, -1e99), min(rule.high, 1e99)) for rule in mine]
    assert [(rule["low"], rule["high"]) for rule in rules] == bounds
    assert form.fields["sure"].widget.attrs["data-sure"] == "I looked again: it is so"
