"""Homes by program: an install handed over, people and events of a home, what is measured of its systems."""

from datetime import date, datetime
from typing import Any, Literal

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.access import signed_in
from equipment.handover import handed_over
from equipment.life import Happening
from equipment.models import FilterSlot, LifeEvent, Media, Person, Site, SiteRole, System
from schedules import home_changes
from schedules.forms import MOST_SLOTS, EventForm, HandOverForm, HandOverSlotForm, PersonForm
from schedules.handing_over import Told, homes_alike, store
from shared.asked_days import Day
from shared.form_bodies import Faulty, Figure, Units, as_form, checked, fault, faults_of
from shared.paging import Page, Paged, page_of

router = Router()
Text = Field("", max_length=200)


class NewSlotIn(Schema):
    """A filter slot as it is handed over, and what was read with the clean filter."""

    size: str = Field(max_length=60)
    location: str = Text
    access_notes: str = Field("", max_length=500)
    height: Figure | None = None
    medium: str | None = Field(None, max_length=200)
    clean_drop: Figure | None = None
    airflow: Figure | None = None
    changed_by: str = Field("", max_length=12)
    sure: bool = False


class HandOverIn(Schema):
    """An install: at a ``home`` on record, or at a new one with its household; ``new_home`` where one like it
    is on record and another is meant. Figures by ``units`` or with the unit written behind."""

    home: str | None = Field(None, max_length=120)
    new_home: bool = False
    key: str = Field("", max_length=32)
    on: Day | None = None
    customer: str = Field("", max_length=120)
    email: str = Field("", max_length=254)
    phone: str = Field("", max_length=40)
    street: str = Text
    city: str = Field("", max_length=80)
    region: str = Field("", max_length=80)
    postcode: str = Field("", max_length=20)
    latitude: float | None = Field(None, ge=-90, le=90)
    longitude: float | None = Field(None, ge=-180, le=180)
    timezone: str = Field("", max_length=60)
    pets: bool | None = None
    cautions: str = Field("", max_length=2000)
    kind: str = Field("", max_length=20)
    blower: str = Field("", max_length=20)
    blower_table: str = Field("", max_length=2000)
    capacity: Figure | None = None
    design_airflow: Figure | None = None
    airflow: Figure | None = None
    airflow_method: str = Field("", max_length=80)
    return_static: Figure | None = None
    filter_in: Literal["in", "out"] | None = None
    supply_static: Figure | None = None
    rated_static: Figure | None = None
    return_budget: Figure | None = None
    blower_tap: str = Field("", max_length=40)
    coil: str = Field("", max_length=20)
    sure: bool = False
    units: Units = "ip"
    slots: list[NewSlotIn] = Field(min_length=1, max_length=MOST_SLOTS)


class HandedOverOut(Schema):
    """The home with its new system and filters, and what is to be said of its ducts at once."""

    site: int
    name: str
    systems: list[str]
    filter_slots: list[str]
    warnings: list[str]


class PersonOut(Schema):
    """Somebody at a home and what they are there; ``until``: since when no more."""

    site: str
    name: str
    role: str
    email: str
    phone: str
    language: str
    until: date | None

    @staticmethod
    def resolve_site(row: SiteRole) -> str:
        return row.site.name

    @staticmethod
    def resolve_name(row: SiteRole) -> str:
        return row.person.name

    @staticmethod
    def resolve_email(row: SiteRole) -> str:
        return row.person.email

    @staticmethod
    def resolve_phone(row: SiteRole) -> str:
        return row.person.phone

    @staticmethod
    def resolve_language(row: SiteRole) -> str:
        return row.person.language


class PersonIn(Schema):
    """Somebody at a home; a new filter changer follows the old one."""

    site: str = Field(max_length=120)
    name: str = Field(max_length=200)
    email: str = Field("", max_length=254)
    phone: str = Field("", max_length=40)
    language: str = Field("", max_length=10)
    text_consent: str = Field("", max_length=120)
    roles: list[str] = Field(min_length=1, max_length=len(SiteRole.Role))


class NamedOut(Schema):
    """Who is on record now."""

    id: int
    name: str


class EventIn(Schema):
    """What happened at a home, to whom or what of it."""

    site: str = Field(max_length=120)
    kind: str = Field(max_length=20)
    on: Day
    person: str | None = Field(None, max_length=200)
    system: str | None = Field(None, max_length=120)
    filter_slot: str | None = Field(None, max_length=120)
    note: str = Field("", max_length=500)


class EndedOut(Schema):
    """How many visits were called off with it, and whether the home's calendar address ended."""

    visits: int
    feeds: bool


class EventOut(Schema):
    """An event of a home's record."""

    id: int
    site: str
    kind: str
    on: date
    note: str
    recorded_at: datetime

    @staticmethod
    def resolve_site(row: LifeEvent) -> str:
        return row.site.name


@router.post("/hand-overs", url_name="api-hand-overs", response={201: HandedOverOut}, tags=["record"])
def hand_over(request: HttpRequest, told: HandOverIn) -> Any:
    """Put an install on record as its form does; one of a ``key`` that was sent before is answered again."""
    user, before = signed_in(request), handed_over(told.key)
    if before is not None:
        return Status(201, _handed(before, []))
    home = Site.objects.select_related("customer").filter(name=told.home).first() if told.home else None
    if told.home and home is None:
        raise fault("home", _("No home of that name is on record."))
    form, slots = _forms(told, home)
    here = [] if home or told.new_home else homes_alike(form.cleaned_data)
    if here:
        said = _("A home like it is on record: %(names)s. Name it as home, or say new_home.")
        raise fault("home", said % {"names": "; ".join(site.name for site in here)})
    site, warnings = store(
        Told(home, form.cleaned_data, [one.cleaned_data for one in slots], told.units), user, timezone.now()
    )
    return Status(201, _handed(site, warnings))


def _forms(told: HandOverIn, home: Site | None) -> tuple[HandOverForm, list[HandOverSlotForm]]:
    """The page's forms, filled and valid. Raises Faulty."""
    values = told.dict(exclude={"home", "new_home", "units", "slots"})
    form = HandOverForm(told.units, as_form(values), home=home)
    media = dict(
        Media.objects.filter(name__in=[one.medium or "" for one in told.slots]).values_list("name", "pk")
    )
    slots = []
    for place, one in enumerate(told.slots):
        if one.medium and one.medium not in media:
            raise fault(f"slots/{place}/medium", _("No medium of that name is on record."))
        typed = as_form(one.dict(exclude={"medium"}) | {"medium": media.get(one.medium or "")})
        slots.append(HandOverSlotForm(typed, units=told.units))
    found = list(faults_of(form))
    for place, slot in enumerate(slots):
        found += faults_of(slot, f"slots/{place}")
    if found:
        raise Faulty(found)
    return form, slots


def _handed(site: Site, warnings: list[str]) -> HandedOverOut:
    in_use = FilterSlot.objects.in_use().filter(system__site=site)
    return HandedOverOut(
        site=site.pk, name=site.name, warnings=warnings,
        systems=list(site.systems.filter(replaced_on=None).order_by("name").values_list("name", flat=True)),
        filter_slots=list(in_use.order_by("name").values_list("name", flat=True)),
    )  # fmt: skip


@router.get("/people", url_name="api-people", response=Page[PersonOut], tags=["record"])
def people(request: HttpRequest, paged: Paged, site: str = "", role: str = "") -> Any:
    """Who is at which home, by home."""
    rows = SiteRole.objects.filter(until=None).select_related("site", "person")
    rows = rows.filter(site__name=site) if site else rows
    return page_of((rows.filter(role=role) if role else rows).order_by("site__name", "pk"), paged)


@router.post("/people", url_name="api-people", response={201: NamedOut}, tags=["record"])
def name_person(request: HttpRequest, told: PersonIn) -> Any:
    """Name somebody at a home; a new filter changer follows the old one."""
    site, now = _home(told.site), timezone.now()
    form = PersonForm(as_form(told.dict(exclude={"site"})))
    roles = checked(form)["roles"]
    return Status(201, home_changes.move_in(site, form.person(now), roles, now))


@router.get("/events", url_name="api-events", response=Page[EventOut], tags=["record"])
def events(request: HttpRequest, paged: Paged, site: str = "", since: Day | None = None) -> Any:
    """What happened at homes, the newest first."""
    rows = LifeEvent.objects.select_related("site").order_by("-on", "-recorded_at", "-pk")
    rows = rows.filter(on__gte=since) if since else rows
    return page_of(rows.filter(site__name=site) if site else rows, paged)


@router.post("/events", url_name="api-events", response={201: EndedOut}, tags=["record"])
def happen(request: HttpRequest, told: EventIn) -> Any:
    """Record an event; what goes with it ends, and nothing is taken away."""
    site = _home(told.site)
    parts = {
        "person": (Person.objects.filter(roles__site=site, roles__until=None), told.person),
        "system": (System.objects.filter(site=site), told.system),
        "slot": (FilterSlot.objects.filter(system__site=site), told.filter_slot),
    }
    values = told.dict(exclude={"site", "person", "system", "filter_slot"})
    for name, (rows, wanted) in parts.items():
        if wanted:
            values[name] = _part(rows, wanted, "filter_slot" if name == "slot" else name)
    data = checked(EventForm(site, as_form(values)), names={"slot": "filter_slot"})
    return Status(201, home_changes.happen(site, Happening(**data), signed_in(request), timezone.now()))


def _part(rows: Any, wanted: str, at: str) -> int:
    found = rows.filter(name=wanted).values_list("pk", flat=True).first()
    if found is None:
        raise fault(at, _("Nothing of that name is at this home."))
    return int(found)


def _home(name: str) -> Site:
    found = Site.objects.select_related("customer").filter(name=name).first()
    if found is None:
        raise fault("site", _("No home of that name is on record."))
    return found
