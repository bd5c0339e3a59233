"""What happened to a filter, written down: changes, their taking back, readings."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import formats
from django.utils.translation import gettext as _

from equipment.bounds import HIGHEST_AIRFLOW_CFM, HIGHEST_STATIC_INWC
from equipment.fitted import fitted_media
from equipment.models import Desk, FilterChange, FilterSlot, Media, Reading, User
from equipment.stock import take_out
from shared import clock, units

HIGHEST_DROP_PA = units.inwc(HIGHEST_STATIC_INWC)
HIGHEST_AIRFLOW_M3S = units.cfm(HIGHEST_AIRFLOW_CFM)
UNDO_FOR = timedelta(days=7)


class NotRecordable(ValueError):
    """What was told cannot be so; the message says why in plain words."""


@dataclass(frozen=True)
class Told:
    """Who told of a change, and how surely it is known."""

    how: str
    by: str
    user: User | None = None


def told_by(user: User, slot: FilterSlot, *, by_program: bool = False, changed_by: str = "") -> Told:
    """How a change is known that ``user`` writes down: of a technician and of whoever lives there as their
    own; of the desk as what it was told, by whoever changes it here usually unless ``changed_by`` says."""
    if user.is_homeowner:
        return Told(FilterChange.Told.OCCUPANT, changed_by or FilterSlot.ChangedBy.OCCUPANT, user)
    if not user.is_manager:
        return Told(FilterChange.Told.TECHNICIAN, changed_by or FilterSlot.ChangedBy.TECHNICIAN, user)
    how = FilterChange.Told.PROGRAM if by_program else FilterChange.Told.DESK
    return Told(how, changed_by or slot.changed_by, user)


def record_change(
    slot: FilterSlot, on: date, media: Media | None, told: Told, now: datetime, at: datetime | None = None
) -> FilterChange:
    """Write down that the slot's filter was changed on the local day ``on``, or at the instant ``at``.

    A day alone counts as its end. Raises NotRecordable for a day to come, a day before the last
    change, and a second change on one day.
    """
    tz = slot.system.site.zone(Desk.the().timezone)
    if on > clock.local_day(now, tz):
        raise NotRecordable(_("That day is still to come."))
    last = changes_made(slot, now).order_by("-changed_at").first()
    if last is not None and last.changed_on == on:
        raise NotRecordable(_("A change on that day is already on record."))
    if last is not None and on < last.changed_on:
        day = formats.date_format(last.changed_on, _("j F Y"))
        raise NotRecordable(_("A later change, on %(day)s, is already on record.") % {"day": day})
    if media is None:
        media = _usual_again(slot, on)
    change = FilterChange(
        slot=slot,
        changed_on=on,
        changed_at=at or clock.end_of_day(on, tz),
        media=media,
        changed_by=told.by,
        told=told.how,
        recorded_by=told.user,
    )
    try:
        with transaction.atomic():
            change.save()
            stamp(slot, now)
            if told.by == FilterSlot.ChangedBy.TECHNICIAN:
                take_out(fitted.pk for fitted in fitted_media([slot], now).values() if fitted)
    except IntegrityError:
        raise NotRecordable(_("A change on that day is already on record.")) from None
    return change


def changes_made(slot: FilterSlot, now: datetime) -> QuerySet[FilterChange]:
    """The slot's changes that stand; one that a sheet plans ahead stands against none that was made."""
    today = clock.local_day(now, slot.system.site.zone(Desk.the().timezone))
    return slot.changes.filter(undone_at=None, changed_on__lte=today)


def _usual_again(slot: FilterSlot, on: date) -> Media | None:
    """Whoever ends a filter that was in for a while and names none puts the usual one back."""
    row = slot.meanwhiles.filter(ended_on=None, begins_on__lt=on).select_related("usual").first()
    followed = row is not None and slot.changes.filter(undone_at=None, changed_on__gt=row.begins_on).exists()
    return None if row is None or followed else row.usual


def may_be_undone(now: datetime, slots: QuerySet[FilterSlot]) -> QuerySet[FilterChange]:
    """What a household may take back of ``slots``: told by itself within the week, its slot's last."""
    standing = FilterChange.objects.filter(slot=OuterRef("slot"), undone_at=None)
    later = standing.filter(changed_at__gt=OuterRef("changed_at"), changed_at__lte=now + timedelta(days=1))
    return FilterChange.objects.filter(
        ~Exists(later),
        slot__in=slots,
        undone_at=None,
        told=FilterChange.Told.OCCUPANT,
        recorded_at__gte=now - UNDO_FOR,
    )


def undo_change(change: FilterChange, now: datetime) -> None:
    """Take a household's mistaken change back; the row stays, marked.

    Raises NotRecordable after a week, for a change that somebody else recorded, and for one that a
    later change followed.
    """
    own = may_be_undone(now, FilterSlot.objects.filter(pk=change.slot_id))
    if change.undone_at is None and not own.filter(pk=change.pk).exists():
        raise NotRecordable(_("Only your own last change can be taken back, and for a week; ring the desk."))
    if change.undone_at is None:
        change.undone_at = now
        change.save(update_fields=["undone_at"])
        stamp(change.slot, now)


def record_reading(reading: Reading, now: datetime) -> Reading:
    """Store a reading. Raises NotRecordable for impossible figures and a second one at its instant."""
    if not 0 <= reading.filter_drop_pa <= HIGHEST_DROP_PA:
        raise NotRecordable(
            _("A filter drop of that size is more than any blower here can draw. Check the unit.")
        )
    if reading.airflow_m3s is not None and not 0 < reading.airflow_m3s <= HIGHEST_AIRFLOW_M3S:
        raise NotRecordable(
            _("The airflow must be above 0 and within what a home's blower moves. Check the unit.")
        )
    if reading.taken_at > now + timedelta(minutes=5):
        raise NotRecordable(_("That moment is still to come."))
    try:
        with transaction.atomic():
            reading.save()
            stamp(reading.slot, now)
    except IntegrityError:
        raise NotRecordable(_("A reading of that very moment is already on record.")) from None
    return reading


def stamp(slot: FilterSlot, now: datetime) -> None:
    """Mark the slot's facts as changed, for planning to take up."""
    slot.facts_changed_at = now
    FilterSlot.objects.filter(pk=slot.pk).update(facts_changed_at=now)


def stamp_site(site_id: int, now: datetime) -> None:
    """Mark all slots of a site."""
    FilterSlot.objects.filter(system__site=site_id).update(facts_changed_at=now)
