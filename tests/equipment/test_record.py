"""Changes, readings, life events, hand-over and look-up."""

from datetime import UTC, date, datetime

import pytest

from equipment import lookup
from equipment.handover import HandOver, NewSlot, hand_over
from equipment.life import Happening, record_event
from equipment.models import (
    Customer,
    FilterChange,
    FilterSlot,
    LifeEvent,
    Person,
    Reading,
    Site,
    SiteRole,
    User,
)
from equipment.record import NotRecordable, Told, record_change, record_reading, told_by, undo_change
from shared.sizes import parse_size
from tests.factories import (
    NOW,
    FilterChangeFactory,
    FilterSlotFactory,
    MediaFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db
TOLD = Told(FilterChange.Told.OCCUPANT, FilterSlot.ChangedBy.OCCUPANT)


def test_a_change_counts_from_the_end_of_its_local_day(home_slot: FilterSlot, now: datetime) -> None:
    change = record_change(home_slot, date(2026, 5, 11), None, TOLD, now)
    assert change.changed_at == datetime(2026, 5, 12, 5, tzinfo=UTC)
    home_slot.refresh_from_db()
    assert home_slot.facts_changed_at == now


@pytest.mark.parametrize(
    ("on", "why"),
    [
        (date(2026, 5, 13), "to come"),
        (date(2026, 5, 1), "already on record"),
        (date(2026, 4, 1), "later change"),
    ],
)
def test_a_change_that_cannot_be_is_refused(home_slot: FilterSlot, now: datetime, on: date, why: str) -> None:
    record_change(home_slot, date(2026, 5, 1), None, TOLD, now)
    with pytest.raises(NotRecordable, match=why):
        record_change(home_slot, on, None, TOLD, now)
    assert home_slot.changes.count() == 1


def test_today_is_the_households_day_not_the_servers(home_slot: FilterSlot, home: Site) -> None:
    home.timezone = "Pacific/Auckland"
    home.save()
    evening_in_chicago = datetime(2026, 5, 13, 1, tzinfo=UTC)
    slot = FilterSlot.objects.get(pk=home_slot.pk)
    assert record_change(slot, date(2026, 5, 13), None, TOLD, evening_in_chicago).pk


def test_a_change_taken_back_frees_its_day(home_slot: FilterSlot, now: datetime) -> None:
    first = record_change(home_slot, date(2026, 5, 11), None, TOLD, now)
    undo_change(first, now)
    assert record_change(home_slot, date(2026, 5, 11), None, TOLD, now).pk != first.pk
    assert FilterChange.objects.count() == 2


@pytest.mark.parametrize("drop_pa", [-0.1, 12 * 249.0889])
def test_a_reading_that_no_manometer_shows_here_is_refused(
    home_slot: FilterSlot, now: datetime, drop_pa: float
) -> None:
    with pytest.raises(NotRecordable):
        record_reading(Reading(slot=home_slot, taken_at=now, filter_drop_pa=drop_pa), now)
    assert Reading.objects.count() == 0


def test_two_readings_of_one_moment_are_refused(home_slot: FilterSlot, now: datetime) -> None:
    record_reading(Reading(slot=home_slot, taken_at=now, filter_drop_pa=40), now)
    with pytest.raises(NotRecordable, match="very moment"):
        record_reading(Reading(slot=home_slot, taken_at=now, filter_drop_pa=41), now)


def test_life_events_delete_nothing(
    home_slot: FilterSlot, home: Site, homeowner_person: Person, manager_user: User, now: datetime
) -> None:
    FilterChangeFactory(slot=home_slot)
    day = date(2026, 5, 10)
    for happening in (
        Happening(LifeEvent.Kind.MOVED_OUT, day, person=homeowner_person),
        Happening(LifeEvent.Kind.VACANT, day),
        Happening(LifeEvent.Kind.SLOT_RETIRED, day, slot=home_slot),
        Happening(LifeEvent.Kind.SYSTEM_REPLACED, day, system=home_slot.system),
        Happening(LifeEvent.Kind.CUSTOMER_GONE, day),
    ):
        record_event(home, happening, manager_user, now)
    home.refresh_from_db()
    home_slot.refresh_from_db()
    assert home.vacant_since == home_slot.retired_on == home_slot.system.replaced_on == day
    assert set(home.roles.values_list("until", flat=True)) == {day}
    assert Customer.objects.get(pk=home.customer_id).gone_on == day
    assert home.events.count() == 5
    assert FilterChange.objects.count() == 1


def test_an_event_that_names_nobody_changes_nothing(home: Site, manager_user: User, now: datetime) -> None:
    with pytest.raises(NotRecordable, match="who moved out"):
        record_event(home, Happening(LifeEvent.Kind.MOVED_OUT, date(2026, 5, 1)), manager_user, now)
    assert home.events.count() == 0


def install(**more: object) -> HandOver:
    values: dict[str, object] = {
        "customer": "Nia North",
        "person": {"name": "Nia North", "email": "nia@home.example"},
        "site": {"name": "Nia North, 4 Quay Lane", "street": "4 Quay Lane", "postcode": "60601"},
        "system": {"name": "north system", "kind": "conventional"},
        "at": datetime(2026, 5, 12, 14, tzinfo=UTC),
        "slots": [NewSlot("north 1", parse_size("16x25x1"), clean_drop_pa=30.0, airflow_m3s=0.3)],
    }
    return HandOver(**(values | more))  # type: ignore[arg-type]


def test_a_hand_over_makes_household_site_system_slot_and_first_reading(
    manager_user: User, now: datetime
) -> None:
    site = hand_over(install(), manager_user, now)
    slot = FilterSlot.objects.get()
    assert (slot.system.site, slot.nominal_size, slot.fitted_on) == (site, "16x25x1", date(2026, 5, 12))
    assert slot.readings.get().filter_drop_pa == 30.0
    roles = set(SiteRole.objects.values_list("role", flat=True))
    assert roles == {SiteRole.Role.OCCUPANT, SiteRole.Role.FILTER_CHANGER}


def test_an_install_in_the_evening_is_of_the_households_day(manager_user: User) -> None:
    evening = datetime(2026, 5, 13, 2, tzinfo=UTC)  # nine in the evening of the 12th in Chicago
    hand_over(install(at=evening), manager_user, evening)
    assert FilterSlot.objects.get().fitted_on == date(2026, 5, 12)


def test_a_us_postcode_gives_position_and_zone(manager_user: User, now: datetime) -> None:
    site = hand_over(install(), manager_user, now)
    # The Loop in Chicago: 41.88 N, 87.62 W (from memory), to a few kilometres.
    assert site.latitude == pytest.approx(41.88, abs=0.05)
    assert site.longitude == pytest.approx(-87.62, abs=0.05)
    assert site.timezone == "America/Chicago"


def test_a_surveyed_position_wins(manager_user: User, now: datetime) -> None:
    site = hand_over(
        install(site={"name": "x", "postcode": "60601", "latitude": 10.0, "longitude": 20.0}),
        manager_user,
        now,
    )
    assert (site.latitude, site.longitude) == (10.0, 20.0)


def test_a_hand_over_with_a_taken_code_stores_nothing(manager_user: User, now: datetime) -> None:
    FilterSlotFactory(name="north 1")
    with pytest.raises(NotRecordable, match="already on record"):
        hand_over(install(), manager_user, now)
    assert not Site.objects.filter(street="4 Quay Lane").exists()
    assert not Customer.objects.filter(name="Nia North").exists()


@pytest.fixture
def town() -> FilterSlot:
    site = SiteFactory(
        name="oak-7", street="7 Oak Street", city="Dunmere", postcode="61999", customer__name="Vera Lindqvist"
    )
    SiteRoleFactory(site=site, person=PersonFactory(name="Jo Amari", phone="+1 (555) 010-4477"))
    MediaFactory(name="other")
    slot: FilterSlot = FilterSlotFactory(
        name="oak-7-hall", system=SystemFactory(site=site), location="hall ceiling"
    )
    elsewhere = SystemFactory(site=SiteFactory(street="1 Elm Street", city="Dunmere"))
    sides = {"nominal_size": "20x20x2", "short_m": 0.508, "long_m": 0.508, "depth_m": 0.0508}
    FilterSlotFactory(name="elm-1", system=elsewhere, **sides)
    return slot


@pytest.mark.parametrize(
    "typed",
    [
        "7 oak", "OAK street", "Lindqvist", "lindqvist dunmere", "jo amari", "5550104477", "010-4477",
        "oak-7-hall", "16x25x1", "25 X 16 x 1\"", "406 x 635 x 25 mm", "61999", "hall ceiling",
    ],
)  # fmt: skip
def test_look_up_finds_the_slot_by_what_people_type(town: FilterSlot, typed: str) -> None:
    assert list(lookup.look_up(typed, NOW)) == [town]


@pytest.mark.parametrize("typed", ["", "   ", "nobody at all", "16x25x2", "%", "' OR 1=1 --", "99999999"])
def test_look_up_finds_nothing_for_anything_else(town: FilterSlot, typed: str) -> None:
    assert town not in lookup.look_up(typed, NOW)


def test_a_retired_slot_is_not_found(town: FilterSlot) -> None:
    FilterSlot.objects.update(retired_on=date(2026, 1, 1))
    assert list(lookup.look_up("oak", NOW)) == []


def test_who_changed_what_is_kept(home_slot: FilterSlot) -> None:
    home_slot.location = "attic"
    home_slot.save()
    assert [row.location for row in home_slot.history.order_by("history_id")] == ["", "attic"]


@pytest.mark.parametrize(
    ("role", "by_program", "usual", "known"),
    [
        (User.Role.HOMEOWNER, False, "technician", ("occupant", "occupant")),
        (User.Role.TECHNICIAN, True, "occupant", ("technician", "technician")),
        (User.Role.MANAGER, False, "occupant", ("desk", "occupant")),
        (User.Role.MANAGER, True, "technician", ("program", "technician")),
    ],
)
def test_a_change_is_known_as_whoever_tells_of_it_can_know(
    role: str, by_program: bool, usual: str, known: tuple[str, str]
) -> None:
    user, slot = UserFactory(role=role), FilterSlotFactory(changed_by=usual)
    told = told_by(user, slot, by_program=by_program)
    assert (told.how, told.by, told.user) == (*known, user)
    assert told_by(user, slot, changed_by="occupant").by == "occupant"
