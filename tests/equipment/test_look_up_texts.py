"""The look-up's texts: kept by triggers, folded, forgiving, and unmoved by odd input."""

from datetime import date, timedelta

import pytest
from django.db import connection

from equipment.look_up_refresh import refresh
from equipment.look_up_tables import note_again, put_up, take_down, trigger_names
from equipment.look_up_text import digits_of, fold, slips, words_of
from equipment.lookup import look_up, nearest
from equipment.models import Customer, FilterChange, FilterSlot, Media, Person, Site, SiteRole, System
from tests.factories import (
    NOW,
    FilterChangeFactory,
    FilterSlotFactory,
    MediaFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
)


@pytest.fixture
def slot(db: None) -> FilterSlot:
    site = SiteFactory(
        name="home of the Muñoz", street="31 Juniper St", city="Orléans", postcode="61999",
        customer__name="Vera Lindqvist",
    )  # fmt: skip
    SiteRoleFactory(site=site, person=PersonFactory(name="Jo O'Amari", phone="+1 (555) 010-4477"))
    medium = MediaFactory(name="Pleat Eleven")
    made: FilterSlot = FilterSlotFactory(
        name="KB-0412",
        system=SystemFactory(name="attic unit", site=site),
        first_media=medium,
        location="hall",
    )
    for number in range(3):
        other = SiteFactory(street=f"{number} Elm Road", city="Dunmere", customer__name=f"Neighbour {number}")
        FilterSlotFactory(name=f"E{number}", system=SystemFactory(site=other))
    return made


def found(typed: str) -> list[str]:
    return [slot.name for slot in look_up(typed, NOW)]


@pytest.mark.parametrize(
    "typed",
    [
        "munoz", "MUÑOZ", "orleans", "oamari", "o'amari", "31 juniper street", "juniper st.", "kb0412",
        "KB 0412", "+1 555 010 4477", "555.010.4477", "pleat eleven", "eleven juniper", "ju 31", "hall 61999",
        "attic unit",
    ],
)  # fmt: skip
def test_the_slot_is_found_by_each_of_its_words(slot: FilterSlot, typed: str) -> None:
    assert found(typed) == ["KB-0412"]


@pytest.mark.parametrize(
    "typed", ["lindquist", "jniper", "lindqivst 31", "99 junipper street", "vera linkvist"]
)
def test_a_slip_of_the_hand_finds_nothing_exactly_and_the_slot_as_nearest(
    slot: FilterSlot, typed: str
) -> None:
    assert found(typed) == []
    assert [one.name for one in nearest(typed)] == ["KB-0412"]


@pytest.mark.parametrize("typed", ["zzzzqqq", "30x36x2", "14x14", "", "9"])
def test_what_is_like_nothing_has_nothing_near(slot: FilterSlot, typed: str) -> None:
    look_up("juniper", NOW)
    assert not nearest(typed).exists()


@pytest.mark.parametrize(
    "typed",
    ['"', '""" OR *', "body : x", "a AND NEAR(b)", "%", "_", "\\", "'; --", "🙂", "!?.,", "x" * 200,
     "٣ ½ ²", "ß" * 99,
     "juniper*", "^juniper", "{body}", "- -", "@", "~ !"],
)  # fmt: skip
def test_odd_input_is_only_words_that_nobody_has(slot: FilterSlot, typed: str) -> None:
    exact, near = found(typed), [one.name for one in nearest(typed)]
    assert "E0" not in exact + near


@pytest.mark.parametrize(
    ("rows", "change", "typed"),
    [
        (FilterSlot.objects, {"location": "cellar"}, "cellar"),
        (System.objects, {"name": "gable"}, "gable"),
        (Site.objects, {"street": "9 Willow Way"}, "willow"),
        (Customer.objects, {"name": "Ode Brandt"}, "brandt"),
        (Person.objects, {"phone": "555 999 8888"}, "5559998888"),
        (Media.objects, {"name": "Carbon"}, "carbon"),
    ],
)
def test_a_row_written_past_every_form_is_found_by_its_new_words(
    slot: FilterSlot, rows: object, change: dict[str, str], typed: str
) -> None:
    assert found(typed) == []
    owned = {
        FilterSlot: slot.pk, System: slot.system_id, Site: slot.system.site_id,
        Customer: slot.system.site.customer_id, Media: slot.first_media_id,
        Person: Person.objects.get(name="Jo O'Amari").pk,
    }  # fmt: skip
    rows.filter(pk=owned[rows.model]).update(**change)  # type: ignore[attr-defined]
    assert found(typed) == ["KB-0412"]


def test_who_no_longer_belongs_to_a_home_does_not_find_it(slot: FilterSlot) -> None:
    assert found("oamari") == ["KB-0412"]
    SiteRole.objects.all().delete()
    assert found("oamari") == []


@pytest.mark.parametrize("gone", ["retired", "replaced", "customer"])
def test_what_is_out_of_use_leaves_and_comes_back(slot: FilterSlot, gone: str) -> None:
    rows, field = {
        "retired": (FilterSlot.objects.all(), "retired_on"),
        "replaced": (System.objects.all(), "replaced_on"),
        "customer": (Customer.objects.all(), "gone_on"),
    }[gone]
    for day, names in [(None, ["KB-0412"]), (date(2026, 1, 1), []), (None, ["KB-0412"])]:
        rows.update(**{field: day})
        assert found("juniper") == names


def test_the_medium_is_the_one_in_there_now(slot: FilterSlot) -> None:
    FilterChangeFactory(slot=slot, media=MediaFactory(name="Carbon Deep"))
    assert (found("carbon deep"), found("eleven")) == (["KB-0412"], [])
    FilterChange.objects.update(undone_at=NOW)
    assert (found("carbon deep"), found("eleven")) == ([], ["KB-0412"])


def test_a_change_still_to_come_counts_from_its_day(slot: FilterSlot) -> None:
    at = NOW + timedelta(days=9)
    FilterChangeFactory(slot=slot, media=MediaFactory(name="Carbon"), changed_on=at.date(), changed_at=at)
    assert found("carbon") == []
    assert [one.name for one in look_up("carbon", at)] == ["KB-0412"]


def test_nothing_is_written_again_where_nothing_changed(slot: FilterSlot) -> None:
    assert refresh(NOW) == 4
    FilterSlot.objects.update(facts_changed_at=NOW, access_notes="ladder")
    assert refresh(NOW) == 0


def test_every_trigger_stands_after_all_migrations(db: None) -> None:
    """SQLite drops a table's triggers where a migration remakes it: end that one with ``note_again``."""
    ask = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(ask)
        assert trigger_names() <= {row[0] for row in cursor.fetchall()}


def test_taken_down_and_put_up_over_rows_it_finds_them_again(slot: FilterSlot) -> None:
    assert found("juniper") == ["KB-0412"]
    connection.check_constraints()
    editor = connection.schema_editor()
    take_down(editor)
    put_up(editor)
    note_again(editor)
    assert found("juniper") == ["KB-0412"]


def test_words_are_folded_alike_whoever_writes_them() -> None:
    assert fold("  O'Muñoz, ŁÓDŹ–4\0🙂") == "omunoz lodz 4"
    assert words_of("7, oak-street;x") == ["7", "oak street", "x"]
    assert [digits_of(text) for text in ("+1 (555) 010-4477", "0104", "7 oak 61999")] == [
        "5550104477",
        "",
        "",
    ]


@pytest.mark.parametrize(
    ("typed", "meant", "count"),
    [("mlil", "mill", 1), ("mill", "mill", 0), ("kitten", "sitting", 3), ("", "ab", 2)],
)
def test_slips_are_counted_by_letters_and_swaps(typed: str, meant: str, count: int) -> None:
    assert slips(typed, meant) == count
