"""The air side's page: figures with their origin, forms that store, units by reader."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import AirRecord, FilterSlot, Site, System
from schedules import due
from schedules.models import Plan
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC, W_PER_TON
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.once]


@pytest.fixture
def system(home_slot: FilterSlot) -> System:
    row = home_slot.system
    row.kind, row.capacity_w, row.design_airflow_m3s = "conventional", 3 * W_PER_TON, 1200 * M3S_PER_CFM
    row.blower, row.rated_external_static_pa = "constant_airflow", 0.5 * PA_PER_INWC
    row.return_static_pa = row.supply_static_pa = row.return_budget_pa = None
    row.save()
    due.replan(NOW)
    return System.objects.get(pk=row.pk)


def test_what_was_not_measured_is_said_to_be_assumed(technician: Client, system: System) -> None:
    text = technician.get(reverse("air-side", args=[system.pk])).text
    assert "At most 0.50 in. w.c. is left for the filter" in text
    assert text.count("not measured: taken as nought") == 2
    assert "350 cfm a ton, California Title 24" in text
    assert "asks for" not in text  # one return of three tons is beyond the tables
    assert "do not go so far" in text


def test_measurements_move_the_budget_and_the_limit(technician: Client, system: System) -> None:
    told = {
        "airflow": "1200", "airflow_method": "flow grid", "return_static": "0.30", "filter_in": "in",
        "filter_drop": "0.12", "supply_static": "0.25", "blower_tap": "high", "coil": "wet",
    }  # fmt: skip
    answer = technician.post(reverse("air-measured", args=[system.pk]), told, follow=True)
    assert "leave 0.07 in. w.c. for the filter" in answer.text
    assert "flow grid, high, wet" in answer.text
    record = AirRecord.objects.get()
    assert record.return_static_pa == pytest.approx(0.18 * PA_PER_INWC)
    assert record.measured_by == answer.wsgi_request.user


def test_too_little_air_is_the_pages_first_word(technician: Client, system: System) -> None:
    technician.post(reverse("air-measured", args=[system.pk]), {"airflow": "1000"})
    text = technician.get(reverse("air-side", args=[system.pk])).text
    assert "This system moves less air than it needs" in text
    assert "1000 cfm, 83 % of design" in text


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({}, "Write at least one figure down"),
        ({"return_static": "45", "filter_in": "out"}, "at most 10"),
        ({"return_static": "5", "filter_in": "out"}, "5 Pa"),
        ({"return_static": "0.2", "filter_in": "in"}, "drop of that moment"),
    ],
)
def test_bad_measurements_are_said_and_kept_on_the_form(
    technician: Client, system: System, told: dict[str, str], why: str
) -> None:
    answer = technician.post(reverse("air-measured", args=[system.pk]), told)
    assert answer.status_code == 422
    assert why in answer.text
    for typed in told.values():
        assert typed in answer.text
    assert not AirRecord.objects.exists()


def test_papers_and_ducts_are_kept_and_come_back_as_they_were_typed(
    technician: Client, system: System
) -> None:
    told = {
        "capacity": "3", "design_airflow": "1200", "airflow_floor": "1100", "rated_static": "0.5",
        "return_budget": "0.2", "altitude": "5280", "duct1_diameter": "14", "duct1_length": "10",
        "duct1_kind": "0.15", "duct2_diameter": "16", "duct2_length": "", "duct2_kind": "",
    }  # fmt: skip
    answer = technician.post(reverse("air-papers", args=[system.pk]), told, follow=True)
    assert answer.status_code == 200
    row = System.objects.get(pk=system.pk)
    assert row.airflow_floor_m3s == pytest.approx(1100 * M3S_PER_CFM)
    assert row.site.altitude_m == pytest.approx(1609.344)
    assert [round(duct["diameter_m"] / METRE_PER_INCH) for duct in row.return_ducts] == [16, 14]
    assert row.return_ducts[1]["compression"] == 0.15
    assert "asks for return ducts of 16 in and 14 in" in answer.text
    assert "the unit&#x27;s papers" in answer.text
    for value in ('value="1100"', 'value="5280"', 'value="14"', 'value="0.2"'):
        assert value in answer.text


def test_a_duct_needs_a_diameter_that_ducts_have(technician: Client, system: System) -> None:
    address = reverse("air-papers", args=[system.pk])
    assert "diameter too" in technician.post(address, {"duct1_length": "10"}).text
    assert "must lie between" in technician.post(address, {"duct1_diameter": "99"}).text
    assert "check the unit" in technician.post(address, {"altitude": "20000"}).text
    assert System.objects.get(pk=system.pk).return_ducts == []


def test_who_chooses_metric_reads_and_types_it(technician: Client, system: System, home: Site) -> None:
    page = reverse("air-side", args=[system.pk])
    answer = technician.post(reverse("units"), {"units": "si", "next": page})
    assert answer["Location"] == page
    text = technician.get(page).text
    assert "At most 125 Pa is left for the filter" in text
    assert "47.0 L/s a kW, California Title 24" in text
    shown = re.sub(r" data-\w+=\"[^\"]*\"", "", text)
    assert not any(unit in shown for unit in ("in. w.c.", " cfm", " tons"))
    technician.post(reverse("air-measured", args=[system.pk]), {"return_static": "25", "filter_in": "out"})
    assert AirRecord.objects.get().return_static_pa == 25.0


def test_units_that_are_none_and_addresses_elsewhere_are_not_taken(technician: Client) -> None:
    answer = technician.post(reverse("units"), {"units": "furlongs", "next": "https://elsewhere.example/"})
    assert answer["Location"] == "/"
    assert "inch units" in technician.get(reverse("look-up")).text


PAPERS = {"capacity": "3", "design_airflow": "1200", "kind": "conventional", "blower": "fixed_speed"}


def test_a_blower_table_is_typed_in_the_reader_s_units_and_comes_back(
    technician: Client, system: System
) -> None:
    address = reverse("air-papers", args=[system.pk])
    technician.post(address, {**PAPERS, "blower_table": "1200:0.3; 800:0.6"})
    row = System.objects.get(pk=system.pk)
    assert row.blower == "fixed_speed"
    assert row.blower_table[0] == [pytest.approx(800 * M3S_PER_CFM), pytest.approx(0.6 * PA_PER_INWC)]
    assert "800:0.6; 1200:0.3" in technician.get(reverse("air-side", args=[system.pk])).text
    technician.post(reverse("units"), {"units": "si"})
    technician.post(address, {"blower_table": "400:150; 600:75"})
    assert System.objects.get(pk=system.pk).blower_table == [
        pytest.approx([0.4, 150.0]),
        pytest.approx([0.6, 75.0]),
    ]


@pytest.mark.parametrize(
    ("table", "why"),
    [
        ("800:0.6", "two points"),
        ("800:0.6; 800:0.5", "stands twice"),
        ("800:0.3; 1200:0.6", "has to fall"),
        ("800-0.6; 1200:0.3", "no pair such as"),
        ("800:60; 1200:30", "check the unit"),
    ],
)
def test_a_blower_table_that_cannot_be_is_said(
    technician: Client, system: System, table: str, why: str
) -> None:
    answer = technician.post(reverse("air-papers", args=[system.pk]), {**PAPERS, "blower_table": table})
    assert answer.status_code == 422
    assert why in answer.text


def test_a_design_airflow_below_its_floor_is_asked_about(technician: Client, system: System) -> None:
    address, told = reverse("air-papers", args=[system.pk]), {**PAPERS, "design_airflow": "500"}
    answer = technician.post(address, told)
    assert "least airflow of 1050 cfm: is it so?" in answer.text
    assert technician.post(address, {**told, "sure": "on"}).status_code == 302


def test_an_opening_is_measured_at_its_slot(
    technician: Client, system: System, home_slot: FilterSlot
) -> None:
    address, name = reverse("air-papers", args=[system.pk]), f"opening{home_slot.pk}"
    assert "two sides" in technician.post(address, {**PAPERS, f"{name}_short": "16"}).text
    far = {**PAPERS, f"{name}_short": "160", f"{name}_long": "25"}
    assert "check the unit" in technician.post(address, far).text
    technician.post(address, {**PAPERS, f"{name}_short": "25.25", f"{name}_long": "16.25"})
    row = FilterSlot.objects.get(pk=home_slot.pk)
    assert (row.opening_short_m, row.opening_long_m) == (
        pytest.approx(16.25 * METRE_PER_INCH),
        pytest.approx(25.25 * METRE_PER_INCH),
    )


def test_pascals_in_an_inch_field_are_offered_back(technician: Client, system: System) -> None:
    text = technician.post(
        reverse("air-measured", args=[system.pk]), {"return_static": "25", "filter_in": "out"}
    ).text
    assert "if it was read in Pa, write 25 Pa" in text


def test_a_static_read_at_another_airflow_is_said_to_be_carried(technician: Client, system: System) -> None:
    told = {"airflow": "1000", "return_static": "0.10", "filter_in": "out", "supply_static": "0.15"}
    text = technician.post(reverse("air-measured", args=[system.pk]), told, follow=True).text
    assert "0.14 in. w.c." in text  # 0.10 times the square of 1200 over 1000
    assert text.count("at 1000 cfm, carried to design airflow by the square") == 2


def test_a_rating_that_the_ducts_alone_are_over_is_asked_about(technician: Client, system: System) -> None:
    told = {"airflow": "1200", "return_static": "0.25", "filter_in": "out", "supply_static": "0.30"}
    technician.post(reverse("air-measured", args=[system.pk]), told)
    papers = {"rated_static": "0.1", "kind": "conventional", "blower": "constant_airflow"}
    asked = technician.post(reverse("air-papers", args=[system.pk]), papers)
    assert asked.status_code == 422
    assert "lies below the 0.55 in. w.c. that return and supply take" in asked.text
    technician.post(reverse("air-papers", args=[system.pk]), papers | {"sure": "on"})
    fresh = System.objects.get(pk=system.pk)
    assert fresh.rated_external_static_pa == pytest.approx(0.1 * PA_PER_INWC)


def test_figures_come_back_with_no_more_decimals_than_they_need(technician: Client, system: System) -> None:
    technician.post(reverse("units"), {"units": "si"})
    text = technician.get(reverse("air-side", args=[system.pk])).text
    assert 'value="10.55"' in text  # three tons in kW
    assert 'value="566"' in text  # 1200 cfm in L/s


def test_an_unusual_opening_is_asked_about_and_taken_when_it_is_so(
    technician: Client, system: System, home_slot: FilterSlot
) -> None:
    address, sides = reverse("air-papers", args=[system.pk]), f"opening{home_slot.pk}_"
    odd = {**PAPERS, f"{sides}short": "15", f"{sides}long": "24"}
    answer = technician.post(address, odd)
    assert answer.status_code == 422
    assert "is not the usual opening of a 16" in answer.text
    assert technician.post(address, {**odd, "sure": "on"}).status_code == 302
    assert FilterSlot.objects.get(pk=home_slot.pk).opening_short_m == pytest.approx(15 * METRE_PER_INCH)


def test_figures_that_nobody_touched_keep_their_last_digits(technician: Client, system: System) -> None:
    address = reverse("air-papers", args=[system.pk])
    technician.post(address, {**PAPERS, "blower_table": "800:0.6\n1200:0.3", "rated_static": "0.5"})
    before = System.objects.get(pk=system.pk)
    technician.post(reverse("units"), {"units": "si"})
    form = technician.get(reverse("air-side", args=[system.pk])).context["papers_form"]
    shown = {name: form[name].value() or "" for name in form.fields}
    assert technician.post(address, shown).status_code == 302
    after = System.objects.get(pk=system.pk)
    for name in ("capacity_w", "design_airflow_m3s", "rated_external_static_pa", "blower_table"):
        assert getattr(after, name) == getattr(before, name), name


def test_a_limit_is_set_by_hand_and_held_to_clean_drop_and_budget(
    technician: Client, system: System, home_slot: FilterSlot
) -> None:
    address, name = reverse("air-papers", args=[system.pk]), f"limit{home_slot.pk}"
    told = {**PAPERS, "rated_static": "0.5"}
    technician.post(address, PAPERS)
    Plan.objects.filter(slot=home_slot).update(clean_drop_pa=0.14 * PA_PER_INWC)
    assert "is not above the clean drop of" in technician.post(address, {**told, name: "0.12"}).text
    technician.post(address, told)
    assert "ducts and coil leave: is it so?" in technician.post(address, {**told, name: "0.9"}).text
    assert technician.post(address, {**told, name: "0.3"}).status_code == 302
    assert FilterSlot.objects.get(pk=home_slot.pk).limit_drop_pa == pytest.approx(0.3 * PA_PER_INWC)
    assert technician.post(address, {**told, name: ""}).status_code == 302
    assert FilterSlot.objects.get(pk=home_slot.pk).limit_drop_pa is None


def test_an_airflow_far_from_design_is_asked_about(technician: Client, system: System) -> None:
    technician.post(reverse("air-papers", args=[system.pk]), PAPERS)
    address = reverse("air-measured", args=[system.pk])
    answer = technician.post(address, {"airflow": "120", "return_static": "0.2", "filter_in": "out"})
    assert "is 10 % of design: is it so, and in this unit?" in answer.text
    assert not AirRecord.objects.exists()
    assert technician.post(address, {"airflow": "120", "sure": "on"}).status_code == 302


def test_a_measurement_is_taken_back_and_the_one_before_counts_again(
    technician: Client, system: System
) -> None:
    System.objects.filter(pk=system.pk).update(design_airflow_m3s=1200 * M3S_PER_CFM)
    address = reverse("air-measured", args=[system.pk])
    technician.post(address, {"airflow": "1200", "return_static": "0.10", "filter_in": "out"})
    first = AirRecord.objects.get()
    AirRecord.objects.update(measured_at=NOW - timedelta(days=3))
    technician.post(address, {"airflow": "1200", "return_static": "0.30", "filter_in": "out"})
    second = AirRecord.objects.exclude(pk=first.pk).get()
    assert System.objects.get(pk=system.pk).return_static_pa == pytest.approx(0.30 * PA_PER_INWC)
    assert "Take it back" in technician.get(reverse("air-side", args=[system.pk])).text
    technician.post(reverse("air-withdrawn", args=[system.pk, second.pk]))
    assert System.objects.get(pk=system.pk).return_static_pa == pytest.approx(0.10 * PA_PER_INWC)
    assert AirRecord.history.filter(history_type="-").count() == 1
    technician.post(reverse("air-withdrawn", args=[system.pk, first.pk]))
    assert System.objects.get(pk=system.pk).return_static_pa is None


def test_what_was_not_measured_is_no_fact_in_the_heading(technician: Client, system: System) -> None:
    System.objects.filter(pk=system.pk).update(
        rated_external_static_pa=0.5 * PA_PER_INWC, return_static_pa=None, supply_static_pa=None
    )
    text = technician.get(reverse("air-side", args=[system.pk])).text
    assert "is left for the filter: ducts and coil are not all measured" in text
    assert re.search(r"At most 0\.50\sin\. w\.c\.", text)


def test_taking_back_gives_back_what_the_record_held_without_a_measurement(
    technician: Client, system: System
) -> None:
    held = {"return_static_pa": 0.08 * PA_PER_INWC, "supply_static_pa": 0.17 * PA_PER_INWC}
    System.objects.filter(pk=system.pk).update(design_airflow_m3s=1200 * M3S_PER_CFM, **held)
    address = reverse("air-measured", args=[system.pk])
    records = []
    for days, static in ((3, "0.10"), (0, "0.30")):
        technician.post(
            address, {"airflow": "1200", "return_static": static, "filter_in": "out", "supply_static": "0.2"}
        )
        newest = AirRecord.objects.exclude(pk__in=[row.pk for row in records]).get()
        AirRecord.objects.filter(pk=newest.pk).update(measured_at=NOW - timedelta(days=days))
        records.append(newest)
    # The older one first: the newer one counts on, and then what stood before both.
    for row, static in zip(records, (0.30, 0.08), strict=True):
        technician.post(reverse("air-withdrawn", args=[system.pk, row.pk]))
        fresh = System.objects.get(pk=system.pk)
        assert fresh.return_static_pa == pytest.approx(static * PA_PER_INWC)
    assert fresh.supply_static_pa == pytest.approx(0.17 * PA_PER_INWC)


def test_statics_read_far_from_design_are_no_fact_in_the_heading(technician: Client, system: System) -> None:
    System.objects.filter(pk=system.pk).update(
        design_airflow_m3s=1200 * M3S_PER_CFM, rated_external_static_pa=0.5 * PA_PER_INWC
    )
    told = {"airflow": "1850", "return_static": "0.1", "filter_in": "out", "supply_static": "0.1"}
    technician.post(reverse("air-measured", args=[system.pk]), told)
    text = technician.get(reverse("air-side", args=[system.pk])).text
    assert "Measure nearer to design airflow" in text
    assert "too far from design to be carried: stands as read" in text
