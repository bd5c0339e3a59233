"""The day of the install: household, site, system, slots, media and first readings in one go."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
import zip2info
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from equipment.commissioning import Measured, record_air
from equipment.curves import media_with_curves
from equipment.models import Customer, Desk, FilterSlot, Media, Person, Reading, Site, SiteRole, System, User
from equipment.record import NotRecordable, record_reading
from shared import clock
from shared.sizes import Size


@dataclass(frozen=True)
class NewSlot:
    """A slot as handed over: what is in it and what was read with the clean filter (Pa, m3/s)."""

    name: str
    size: Size
    location: str = ""
    access_notes: str = ""
    height_m: float | None = None
    media: Media | None = None
    changed_by: str = FilterSlot.ChangedBy.OCCUPANT
    clean_drop_pa: float | None = None
    airflow_m3s: float | None = None


@dataclass(frozen=True)
class HandOver:
    """Everything the form holds; dictionaries hold model fields by name.

    ``key`` is the form's own: sent twice, it is handed over once. ``home`` is a site on record that the
    system is added to; customer, person and site are then those of the record.
    """

    customer: str
    person: dict[str, Any]
    site: dict[str, Any]
    system: dict[str, Any]
    at: datetime
    slots: list[NewSlot] = field(default_factory=list)
    air: Measured = field(default_factory=Measured)
    cautions: str = ""
    key: str | None = None
    home: Site | None = None


def hand_over(form: HandOver, user: User, now: datetime) -> Site:
    """Store the install, all or nothing; the site of the first time where the form was sent before.

    Raises NotRecordable for names that are taken and for an install without a slot.
    """
    if not form.slots:
        raise NotRecordable(_("An install has at least one filter slot."))
    try:
        return handed_over(form.key) or _store(form, user, now)
    except (IntegrityError, NotRecordable):
        # Two of the same form at one time: the other was first.
        site = handed_over(form.key)
        if site is None:
            raise
        return site


def handed_over(key: str | None) -> Site | None:
    """The home of the system that the form of this key has already made."""
    return Site.objects.filter(systems__handover_key=key).first() if key else None


def alike(customer: str, street: str, postcode: str) -> QuerySet[Site]:
    """Homes on record of this customer, or at this street and postcode (or with none on record)."""
    same_place = Q(street__iexact=" ".join(street.split()))
    if postcode:
        same_place &= Q(postcode__iexact=postcode) | Q(postcode="")
    return Site.objects.filter(Q(customer__name__iexact=customer) | same_place).order_by("name")


def label_drop(media: Media, airflow_m3s: float | None) -> float | None:
    """What the label gives for the clean medium at the airflow, in Pa; the highest of its points where the
    airflow is not known. None where the label has no point."""
    curve = media_with_curves([media.pk])[media.pk].curve
    if curve is None:
        return None
    if airflow_m3s is None:
        return float(max(media.points.values_list("clean_drop_pa", flat=True)))
    return float(curve.clean_drop(np.array([airflow_m3s]))[0])


@transaction.atomic
def _store(form: HandOver, user: User, now: datetime) -> Site:
    site = form.home or _site(form, Customer.objects.get_or_create(name=form.customer)[0])
    system = _system(form, site)
    for slot in form.slots:
        _slot(slot, system, form, user, now)
    if form.air.of_the_system:
        record_air(system, form.air, form.at, user, now)
    return site


def zone_of(postcode: str) -> str:
    """The zone of a US postcode, or nothing."""
    known = zip2info.info(postcode[:5]) if postcode[:5].isdigit() else None
    return known.timezone or "" if known else ""


def _site(form: HandOver, customer: Customer) -> Site:
    site = Site.objects.filter(name=form.site["name"]).first()
    if site is not None and site.customer_id != customer.pk:
        raise NotRecordable(_("A site of this name belongs to another customer."))
    if site is None:
        site = Site.objects.create(customer=customer, cautions=form.cautions, **placed(form.site))
        person = Person.objects.create(**form.person)
        for role in (SiteRole.Role.OCCUPANT, SiteRole.Role.FILTER_CHANGER):
            SiteRole.objects.create(site=site, person=person, role=role)
    return site


def placed(fields: dict[str, Any]) -> dict[str, Any]:
    """Site fields with position and zone from the postcode where none was given.

    Positions are centroids of US ZIP codes (package zip2info), a few kilometres off; a surveyed
    position wins.
    """
    known = (
        zip2info.info(fields.get("postcode", "")[:5]) if fields.get("postcode", "")[:5].isdigit() else None
    )
    if known is None:
        return fields
    guessed = {"latitude": known.latitude, "longitude": known.longitude, "timezone": known.timezone}
    return guessed | {name: value for name, value in fields.items() if value not in (None, "")}


def _system(form: HandOver, site: Site) -> System:
    if System.objects.filter(name=form.system["name"]).exists():
        raise NotRecordable(_("A system of this name is already on record."))
    return System.objects.create(site=site, handover_key=form.key, **form.system)


def _slot(new: NewSlot, system: System, form: HandOver, user: User, now: datetime) -> FilterSlot:
    if FilterSlot.objects.filter(name=new.name).exists():
        raise NotRecordable(_("The slot code %(code)s is already on record.") % {"code": new.name})
    slot = FilterSlot.objects.create(
        name=new.name,
        system=system,
        nominal_size=new.size.label,
        short_m=new.size.short_m,
        long_m=new.size.long_m,
        depth_m=new.size.depth_m,
        location=new.location,
        access_notes=new.access_notes,
        height_m=new.height_m,
        first_media=new.media,
        fitted_on=clock.local_day(form.at, system.site.zone(Desk.the().timezone)),
        changed_by=new.changed_by,
        facts_changed_at=now,
    )
    if new.clean_drop_pa is not None:
        reading = Reading(
            slot=slot,
            taken_at=form.at,
            filter_drop_pa=new.clean_drop_pa,
            airflow_m3s=new.airflow_m3s,
            airflow_method=form.air.airflow_method,
            taken_by=user,
        )
        record_reading(reading, now)
    return slot
