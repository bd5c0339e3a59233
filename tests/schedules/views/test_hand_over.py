"""The form for the day of the install, as it is filled in and sent."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Customer, FilterSlot, Media, Reading, Site, System
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import CustomerFactory, FilterSlotFactory, MediaFactory, SiteFactory

pytestmark = pytest.mark.django_db
PAGE = "/hand-over/"
SHUT = {"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "0"}
HOUSEHOLD = {"customer": "Ines Vale", "street": "3 Quarry  Road", "language": "en", "kind": "conventional"}


def blocks(text: str) -> int:
    return len(re.findall(r'name="form-\d+-size"', text))


def typed(text: str, name: str) -> str:
    found = re.search(rf'<input[^>]*name="{name}"[^>]*>', text)
    assert found
    value = re.search(r'value="([^"]*)"', found[0])
    return value[1] if value else ""


def test_the_form_begins_with_one_filter(manager: Client) -> None:
    assert blocks(manager.get(PAGE).text) == 1


def test_another_filter_is_added_and_nothing_typed_is_lost_or_checked(manager: Client) -> None:
    half = {**SHUT, "customer": "Ines Vale", "capacity": "3 ton", "cautions": "Steep stairs", "pets": "true"}
    slot = {"form-0-size": "16 x 25", "form-0-location": "hall", "form-0-changed_by": "technician"}
    answer = manager.post(PAGE, {**half, **slot, "one-more": "1"})
    assert answer.status_code == 200
    assert blocks(answer.text) == 2
    assert typed(answer.text, "customer") == "Ines Vale"
    assert typed(answer.text, "capacity") == "3 ton"
    assert typed(answer.text, "form-0-size") == "16 x 25"
    assert typed(answer.text, "form-0-location") == "hall"
    assert "Steep stairs" in answer.text
    assert len(re.findall(r'<option value="technician" selected', answer.text)) == 1
    assert '<option value="true" selected' in answer.text
    assert 'class="error"' not in answer.text
    assert not Site.objects.exists()


def test_no_more_filters_are_offered_than_the_form_takes(manager: Client) -> None:
    text = manager.post(PAGE, {**SHUT, "form-TOTAL_FORMS": "11", "one-more": "1"}).text
    assert blocks(text) == 12
    assert 'name="one-more"' not in text
    assert blocks(manager.post(PAGE, {**SHUT, "form-TOTAL_FORMS": "9999", "one-more": "1"}).text) == 12
    assert blocks(manager.post(PAGE, {**SHUT, "form-TOTAL_FORMS": "-3", "one-more": "1"}).text) == 1


def test_added_filters_are_handed_over_and_named_after_street_and_place(manager: Client) -> None:
    FilterSlotFactory(name="3 Quarry Road, hall")
    added = {"form-TOTAL_FORMS": "4", "form-INITIAL_FORMS": "2"}
    slots = {
        "form-0-size": "16x25x1",
        "form-0-location": "hall",
        "form-1-size": "20x25x4",
        "form-2-size": "20x20x1",
        "form-2-location": "hall",
        "form-3-changed_by": "occupant",
    }
    answer = manager.post(PAGE, {**HOUSEHOLD, **added, **slots})
    site = Site.objects.get(street="3 Quarry Road")
    assert answer["Location"] == reverse("site", args=[site.pk])
    made = FilterSlot.objects.filter(system__site=site).order_by("pk").values_list("name", "nominal_size")
    assert list(made) == [
        ("3 Quarry Road, hall 2", "16x25x1"),
        ("3 Quarry Road, filter 2", "20x25x4"),
        ("3 Quarry Road, hall 3", "20x20x1"),
    ]


def test_a_fault_in_an_added_filter_is_said_and_what_was_typed_stays(manager: Client) -> None:
    added = {"form-TOTAL_FORMS": "2", "form-INITIAL_FORMS": "1"}
    answer = manager.post(PAGE, {**HOUSEHOLD, **added, "form-0-size": "16x25x1", "form-1-location": "attic"})
    assert answer.status_code == 422
    assert "Write the size that the label gives" in answer.text
    assert typed(answer.text, "form-1-location") == "attic"
    assert not Site.objects.exists()


ONE = {**HOUSEHOLD, **SHUT, "form-0-size": "16x25x1", "form-0-location": "hall"}


# The same form twice, the same home twice


def test_a_form_sent_twice_is_one_home_and_shows_it_again(manager: Client) -> None:
    key = typed(manager.get(PAGE).text, "key")
    assert len(key) == 32
    first, second = (manager.post(PAGE, {**ONE, "key": key}) for _ in range(2))
    assert first["Location"] == second["Location"] == reverse("site", args=[Site.objects.get().pk])
    assert System.objects.count() == FilterSlot.objects.count() == 1


def test_every_form_that_is_opened_has_a_key_of_its_own(manager: Client) -> None:
    assert typed(manager.get(PAGE).text, "key") != typed(manager.get(PAGE).text, "key")


def test_the_key_stays_with_the_form_through_another_filter_and_a_fault(manager: Client) -> None:
    assert typed(manager.post(PAGE, {**ONE, "key": "k1", "one-more": "1"}).text, "key") == "k1"
    assert typed(manager.post(PAGE, {**ONE, "key": "k1", "street": ""}).text, "key") == "k1"


@pytest.mark.parametrize(
    ("customer", "street", "postcode"),
    [
        ("Somebody Else", "9 quarry road", "61999"),
        ("Somebody Else", "9 Quarry  Road", "61999"),
        ("ada lorne", "1 Other Street", ""),
    ],
)
def test_a_home_that_seems_to_be_here_is_asked_about_and_nothing_is_stored(
    manager: Client, customer: str, street: str, postcode: str
) -> None:
    here = SiteFactory(
        name="lorne", street="9 Quarry Road", postcode="61999", customer=CustomerFactory(name="Ada Lorne")
    )
    told = {**ONE, "customer": customer, "street": street, "postcode": postcode, "key": "k2"}
    answer = manager.post(PAGE, told)
    assert answer.status_code == 422
    assert "Add it to Ada Lorne, 9 Quarry Road, 61999" in answer.text
    assert not System.objects.exists()
    added = manager.post(PAGE, {**told, "home": str(here.pk)})
    assert added["Location"] == reverse("site", args=[here.pk])
    assert System.objects.get().site == here
    assert (Site.objects.count(), Customer.objects.count()) == (1, 1)


def test_another_home_of_the_same_customer_is_made_when_said_so(manager: Client) -> None:
    SiteFactory(name="lorne", street="9 Quarry Road", customer=CustomerFactory(name="Ines Vale"))
    manager.post(PAGE, {**ONE, "home": "new"})
    assert Site.objects.filter(customer__name="Ines Vale").count() == 2


def test_the_same_street_in_another_postcode_is_another_home(manager: Client) -> None:
    SiteFactory(name="far", street="3 Quarry Road", postcode="10001")
    assert manager.post(PAGE, {**ONE, "postcode": "60601"}).status_code == 302


def test_another_system_of_the_home_needs_no_household(manager: Client) -> None:
    answer = manager.post(PAGE, {**ONE, "another": "1"})
    site = Site.objects.get()
    assert answer["Location"] == f"{PAGE}?home={site.pk}"
    text = manager.get(answer["Location"]).text
    assert "A system for Ines Vale, 3 Quarry Road" in text
    assert 'name="customer"' not in text
    second = {**SHUT, "kind": "high_velocity", "home": str(site.pk), "form-0-size": "20x25x4"}
    assert manager.post(PAGE, second)["Location"] == reverse("site", args=[site.pk])
    assert sorted(site.systems.values_list("name", flat=True)) == [
        "Ines Vale, 3 Quarry Road system",
        "Ines Vale, 3 Quarry Road system 2",
    ]
    assert site.roles.count() == 2


# Place, day and what was read


@pytest.mark.parametrize(
    ("postcode", "chosen", "zone"),
    [("80202", "", "America/Denver"), ("80202", "America/Phoenix", "America/Phoenix"), ("", "", "")],
)
def test_the_zone_is_the_postcodes_or_the_one_chosen(
    manager: Client, postcode: str, chosen: str, zone: str
) -> None:
    manager.post(PAGE, {**ONE, "postcode": postcode, "timezone": chosen})
    assert Site.objects.get().timezone == zone


def test_the_zone_of_the_postcode_is_shown_when_the_form_comes_back(manager: Client) -> None:
    text = manager.post(PAGE, {**ONE, "postcode": "80202", "one-more": "1"}).text
    assert '<option value="" selected>America/Denver (by the postcode)</option>' in text


def test_an_install_of_an_earlier_day_is_of_that_day(manager: Client) -> None:
    manager.post(PAGE, {**ONE, "on": "2026-05-04", "form-0-clean_drop": "0.1"})
    assert str(FilterSlot.objects.get().fitted_on) == "2026-05-04"
    assert Reading.objects.get().taken_at.isoformat() == "2026-05-04T17:00:00+00:00"


def test_an_install_still_to_come_is_refused(manager: Client) -> None:
    answer = manager.post(PAGE, {**ONE, "on": "2026-05-14"})
    assert "That day is still to come." in answer.text
    assert not Site.objects.exists()


def test_the_day_stands_in_the_form_and_notes_reach_the_slot(manager: Client) -> None:
    assert typed(manager.get(PAGE).text, "on") == "2026-05-12"
    manager.post(PAGE, {**ONE, "form-0-access_notes": "ladder in the garage"})
    assert FilterSlot.objects.get().access_notes == "ladder in the garage"


@pytest.mark.parametrize("half", ["latitude", "longitude"])
def test_half_a_position_is_refused(manager: Client, half: str) -> None:
    answer = manager.post(PAGE, {**ONE, half: "41"})
    assert "A position needs both latitude and longitude." in answer.text
    assert not Site.objects.exists()


@pytest.fixture
def pleat(db: None) -> Media:
    """0.1 in. w.c. at 400 cfm."""
    medium: Media = MediaFactory(name="pleat", nominal_size="16x25x1")
    medium.points.all().delete()
    medium.points.create(airflow_m3s=400 * M3S_PER_CFM, clean_drop_pa=0.1 * PA_PER_INWC)
    return medium


def test_a_drop_that_no_clean_filter_has_is_refused_even_when_sure(manager: Client) -> None:
    answer = manager.post(
        PAGE, {**ONE, "form-0-clean_drop": "9 inwc", "form-0-airflow": "30", "form-0-sure": "on"}
    )
    assert answer.status_code == 422
    assert "No clean filter takes more than 5" in answer.text
    assert not Site.objects.exists()


@pytest.mark.parametrize(("drop", "asked"), [("0.29", False), ("0.31", True), ("4.9 inwc", True)])
def test_a_drop_above_three_times_the_label_is_to_be_confirmed(
    manager: Client, pleat: Media, drop: str, asked: bool
) -> None:
    told = {**ONE, "form-0-medium": str(pleat.pk), "form-0-clean_drop": drop, "form-0-airflow": "400"}
    answer = manager.post(PAGE, told)
    assert (answer.status_code == 422) == asked
    if asked:
        assert "The label gives 0.10" in answer.text
        assert 'type="checkbox" name="form-0-sure"' in answer.text
        assert not Site.objects.exists()
        assert manager.post(PAGE, {**told, "form-0-sure": "on"}).status_code == 302
    assert Reading.objects.count() == 1


def test_a_high_drop_without_a_label_is_to_be_confirmed_too(manager: Client) -> None:
    assert "That is much for a clean filter." in manager.post(PAGE, {**ONE, "form-0-clean_drop": "1.2"}).text
    assert manager.post(PAGE, {**ONE, "form-0-clean_drop": "0.9"}).status_code == 302


def test_all_faults_of_the_form_are_said_at_once(manager: Client) -> None:
    answer = manager.post(
        PAGE, {**ONE, "street": "", "return_static": "12", "design_airflow": "0", "form-0-clean_drop": "12"}
    )
    assert answer.text.count('class="error"') == 4


def test_the_homes_page_leads_staff_to_the_form_for_another_system(
    manager: Client, homeowner: Client, home: Site
) -> None:
    link = f'href="{PAGE}?home={home.pk}"'
    page = reverse("site", args=[home.pk])
    assert link in manager.get(page).text
    assert link not in homeowner.get(page).text


def test_a_blower_table_is_handed_over_with_the_system(manager: Client) -> None:
    manager.post(PAGE, {**ONE, "blower": "fixed_speed", "blower_table": "800:0.6\r\n1200:0.3"})
    table = System.objects.get().blower_table
    assert table == [
        [pytest.approx(800 * M3S_PER_CFM), pytest.approx(0.6 * PA_PER_INWC)],
        [pytest.approx(1200 * M3S_PER_CFM), pytest.approx(0.3 * PA_PER_INWC)],
    ]


def test_few_time_zones_are_offered(manager: Client) -> None:
    offered = manager.get(PAGE).text.count("<option")
    assert offered < 120


def test_what_was_not_said_of_the_system_is_not_known(manager: Client) -> None:
    told = {name: value for name, value in ONE.items() if name != "kind"}
    manager.post(PAGE, told)
    assert System.objects.get().kind == ""


def test_airflow_measured_is_no_design_airflow(manager: Client) -> None:
    more = {"design_airflow": "800", "airflow": "640", "return_static": "0.30", "filter_in": "in"}
    manager.post(PAGE, {**ONE, **more, "form-0-clean_drop": "0.10"})
    system = System.objects.get()
    record = system.air_records.get()
    assert system.design_airflow_m3s == pytest.approx(800 * M3S_PER_CFM)
    assert record.airflow_m3s == pytest.approx(640 * M3S_PER_CFM)
    # Without the filter 0.30 - 0.10, and at design (800/640)^2 of it.
    assert record.return_static_pa == pytest.approx(0.20 * PA_PER_INWC)
    assert system.return_static_pa == pytest.approx(0.20 * (800 / 640) ** 2 * PA_PER_INWC)


def test_an_airflow_with_a_digit_lost_is_asked_about(manager: Client) -> None:
    told = {**ONE, "design_airflow": "750", "airflow": "75"}
    answer = manager.post(PAGE, told)
    assert answer.status_code == 422
    assert "is 10 % of design" in answer.text
    assert manager.post(PAGE, {**told, "sure": "on"}).status_code == 302
