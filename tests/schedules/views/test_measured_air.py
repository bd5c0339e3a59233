"""Which filters will do by the air that was measured, and with which filter it was."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.commissioning import Measured, record_air
from equipment.models import FilterSlot, System
from schedules.what_fits import candidates
from shared.units import M3S_PER_CFM, MS_PER_FPM, PA_PER_INWC, W_PER_TON
from tests.factories import (
    NOW,
    TODAY,
    AirRecordFactory,
    FilterChangeFactory,
)
from tests.markup import tight
from tests.schedules.views.fitting import found_of, medium

pytestmark = [pytest.mark.django_db, pytest.mark.once]


def test_air_measured_below_the_floor_makes_it_a_question(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    System.objects.filter(pk=slot.system_id).update(capacity_w=2 * W_PER_TON, kind="conventional")
    AirRecordFactory(system=slot.system, airflow_m3s=600 * M3S_PER_CFM)
    (one,) = candidates(FilterSlot.objects.get(pk=slot.pk), None, NOW)
    assert one.answer.verdict == "ask"
    assert "measured airflow of 600 cfm is below the floor of 700 cfm" in one.answer.why


def test_a_fixed_speed_blower_without_its_table_is_judged_at_the_airflow_measured(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    System.objects.filter(pk=slot.system_id).update(blower="fixed_speed", blower_table=[])
    (before,) = candidates(FilterSlot.objects.get(pk=slot.pk), None, NOW)
    assert before.answer.verdict == "ask"
    loose, finer = before.media, medium("Finer 13", 13, 0.12)
    FilterSlot.objects.filter(pk=slot.pk).update(first_media=loose)
    AirRecordFactory(system=slot.system, airflow_m3s=770 * M3S_PER_CFM)
    found = {one.media: one for one in candidates(FilterSlot.objects.get(pk=slot.pk), loose, NOW)}
    assert found[loose].answer.verdict == "fits"
    assert found[loose].answer.airflow_m3s == pytest.approx(770 * M3S_PER_CFM)
    assert found[loose].answer.airflow_loss_percent == pytest.approx(100 * 30 / 800)
    assert "airflow as measured" in found[loose].answer.why
    # That airflow was measured with the looser one in: nobody knows what a finer one leaves of it.
    assert found[finer].answer.verdict == "ask"
    AirRecordFactory(system=slot.system, airflow_m3s=700 * M3S_PER_CFM, measured_at=NOW)
    (low,) = (one for one in candidates(FilterSlot.objects.get(pk=slot.pk), loose, NOW) if one.fitted)
    assert low.answer.verdict == "fits_with_care"
    assert "airflow falls 12.5 % short of design" in low.answer.why


def test_more_air_measured_than_designed_enters_the_verdict(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    assert found_of(slot, "Loose 8").answer.verdict == "fits"
    AirRecordFactory(system=slot.system, airflow_m3s=1000 * M3S_PER_CFM, measured_at=NOW)
    answer = found_of(slot, "Loose 8").answer
    # By hand: 1000 cfm through 16x25 is 360 fpm; 0.10 (1000/800)^1.18 = 0.130 and 0.10 (1000/800)^2 = 0.156.
    assert answer.verdict == "fits_with_care"
    assert answer.face_velocity_ms == pytest.approx(360 * MS_PER_FPM)
    assert answer.clean_drop_pa == pytest.approx(0.13013 * PA_PER_INWC, rel=1e-3)
    assert answer.drop_left_pa == pytest.approx((0.35 - 0.15625 - 0.13013) * PA_PER_INWC, rel=1e-3)
    assert answer.airflow_loss_percent == pytest.approx(-25.0)
    assert answer.velocity_there_ms == pytest.approx(answer.face_velocity_ms)
    assert "judged at the airflow measured" in answer.why


def test_a_little_more_air_than_designed_changes_nothing(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    AirRecordFactory(system=slot.system, airflow_m3s=830 * M3S_PER_CFM, measured_at=NOW)
    assert "judged at" not in found_of(slot, "Loose 8").answer.why


def test_more_air_than_a_fixed_speed_blower_s_table_gives_is_asked_about(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    table = [[600 * M3S_PER_CFM, 0.5 * PA_PER_INWC], [900 * M3S_PER_CFM, 0.1 * PA_PER_INWC]]
    System.objects.filter(pk=slot.system_id).update(blower="fixed_speed", blower_table=table)
    reckoned = found_of(slot, "Loose 8").answer
    AirRecordFactory(system=slot.system, airflow_m3s=1000 * M3S_PER_CFM, measured_at=NOW)
    one = found_of(slot, "Loose 8")
    assert reckoned.verdict == "fits"
    assert one.answer.verdict == "ask"
    assert "more air was measured than the blower's table gives" in one.answer.why
    assert one.answer.airflow_m3s == pytest.approx(1000 * M3S_PER_CFM)
    assert one.airflow_at_limit_m3s is None


def test_a_constant_airflow_blower_that_moves_less_than_design_is_believed(
    technician: Client, slot: FilterSlot
) -> None:
    medium("Loose 8", 8, 0.10)
    AirRecordFactory(system=slot.system, airflow_m3s=720 * M3S_PER_CFM, measured_at=NOW)
    one = found_of(slot, "Loose 8")
    assert one.answer.verdict == "fits_with_care"
    assert one.answer.airflow_loss_percent == pytest.approx(10.0)
    assert one.loss_at_limit_percent == pytest.approx(10.0)
    text = tight(technician.get(reverse("what-fits", args=[slot.pk])).text)
    assert re.search(r"720\scfm, 10\.0\s%\sbelow design", text)
    assert "as designed" not in text


def test_statics_read_far_off_are_asked_for_anew_and_not_carried(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    back = 0.10 * PA_PER_INWC
    measured = Measured(airflow_m3s=300 * M3S_PER_CFM, return_static_pa=back)
    record_air(System.objects.get(pk=slot.system_id), measured, NOW, None, NOW)
    assert System.objects.get(pk=slot.system_id).return_static_pa == pytest.approx(back)
    answer = found_of(slot, "Loose 8").answer
    assert answer.verdict == "ask"
    assert "read far from design airflow: measure nearer to it" in answer.why


def test_the_filter_that_the_airflow_was_measured_with_is_not_refused(
    slot: FilterSlot,
) -> None:
    loose, dense = medium("Loose 8", 8, 0.10), medium("Dense 13", 13, 0.20)
    table = [[flow * M3S_PER_CFM, at * PA_PER_INWC] for flow, at in ((700, 0.2), (800, 0.15), (900, 0.08))]
    System.objects.filter(pk=slot.system_id).update(
        blower="fixed_speed", blower_table=table, airflow_floor_m3s=700 * M3S_PER_CFM
    )
    FilterSlot.objects.filter(pk=slot.pk).update(first_media=dense)
    fresh = FilterSlot.objects.get(pk=slot.pk)
    (before,) = (one for one in candidates(fresh, dense, NOW) if one.fitted)
    assert before.answer.verdict == "refuse"
    AirRecordFactory(system=slot.system, airflow_m3s=780 * M3S_PER_CFM, measured_at=NOW)
    found = {one.media: one.answer for one in candidates(FilterSlot.objects.get(pk=slot.pk), dense, NOW)}
    assert found[loose].verdict != "refuse"
    assert found[dense].verdict == "ask"
    assert "more air was measured than the blower's table gives" in found[dense].why


def test_an_airflow_is_never_credited_to_a_finer_filter_fitted_since(slot: FilterSlot) -> None:
    loose, finer = medium("Loose 8", 8, 0.10), medium("Finer 13", 13, 0.12)
    System.objects.filter(pk=slot.system_id).update(blower="fixed_speed", blower_table=[])
    FilterSlot.objects.filter(pk=slot.pk).update(first_media=loose)
    AirRecordFactory(system=slot.system, airflow_m3s=780 * M3S_PER_CFM, measured_at=NOW - timedelta(days=9))
    FilterChangeFactory(slot=slot, media=finer, changed_on=TODAY, changed_at=NOW)
    found = {one.media: one for one in candidates(FilterSlot.objects.get(pk=slot.pk), finer, NOW)}
    assert found[finer].fitted
    assert found[finer].answer.verdict == "ask"
    assert found[loose].answer.verdict == "fits"
    # Nor is a finer one refused for the air that a looser one passed.
    AirRecordFactory(system=slot.system, airflow_m3s=1000 * M3S_PER_CFM, measured_at=NOW - timedelta(days=8))
    found = {one.media: one for one in candidates(FilterSlot.objects.get(pk=slot.pk), finer, NOW)}
    assert found[finer].answer.verdict == "ask"
    assert "judged at" not in found[finer].answer.why
    # Told of the day of the measurement: which of them was in there, nobody knows.
    AirRecordFactory(system=slot.system, airflow_m3s=780 * M3S_PER_CFM, measured_at=NOW - timedelta(hours=3))
    found = {one.media: one for one in candidates(FilterSlot.objects.get(pk=slot.pk), finer, NOW)}
    assert found[finer].answer.verdict == "ask"


def test_a_household_is_told_where_the_verdict_leans_on_nothing_measured(
    homeowner: Client, slot: FilterSlot
) -> None:
    medium("Loose 8", 8, 0.10)
    said = "not all of your system has been measured yet"
    assert said not in homeowner.get(reverse("what-fits", args=[slot.pk])).text
    System.objects.filter(pk=slot.system_id).update(return_static_pa=None)
    assert said in homeowner.get(reverse("what-fits", args=[slot.pk])).text
    System.objects.filter(pk=slot.system_id).update(return_static_pa=0.1 * PA_PER_INWC, blower="")
    assert said in homeowner.get(reverse("what-fits", args=[slot.pk])).text
    assert "taken to hold its airflow" in found_of(slot, "Loose 8").answer.why


def test_a_household_with_too_little_air_is_told_to_have_the_cause_found(
    homeowner: Client, slot: FilterSlot
) -> None:
    medium("Loose 8", 8, 0.10)
    System.objects.filter(pk=slot.system_id).update(airflow_floor_m3s=700 * M3S_PER_CFM)
    AirRecordFactory(system=slot.system, airflow_m3s=600 * M3S_PER_CFM, measured_at=NOW)
    text = homeowner.get(reverse("what-fits", args=[slot.pk])).text
    assert "Too little air moves here, whatever the filter" in text


def test_far_more_air_than_designed_carries_the_ducts_with_it(slot: FilterSlot) -> None:
    medium("Loose 8", 8, 0.10)
    AirRecordFactory(system=slot.system, airflow_m3s=1300 * M3S_PER_CFM, measured_at=NOW)
    answer = found_of(slot, "Loose 8").answer
    # By hand: 0.10 (1300/800)^2 = 0.2641 and 0.10 (1300/800)^1.18 = 0.1773 are more than 0.35.
    assert answer.verdict == "refuse"
    assert answer.drop_left_pa == pytest.approx((0.35 - 0.2641 - 0.1773) * PA_PER_INWC, abs=0.05)
