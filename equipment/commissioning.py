"""The air-side record of a system: what was measured, and what the system's own figures become by it."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from equipment.airflow import design_airflow
from equipment.bounds import far_from_design
from equipment.models import AirRecord, FilterSlot, System, User
from equipment.record import HIGHEST_AIRFLOW_M3S, HIGHEST_DROP_PA, NotRecordable

_BEFORE = {"return_static_pa": "return_before_pa", "supply_static_pa": "supply_before_pa"}


@dataclass(frozen=True)
class Measured:
    """Of one moment: airflow of the whole system in m3/s, pressures in Pa, None for what was not measured.

    ``filter_in`` says that the return static was taken between filter and blower: the filter's drop of the
    same moment is then taken off it.
    """

    airflow_m3s: float | None = None
    airflow_method: str = ""
    return_static_pa: float | None = None
    filter_in: bool = False
    supply_static_pa: float | None = None
    filter_drop_pa: float | None = None
    blower_tap: str = ""
    coil: str = ""

    @property
    def of_the_system(self) -> bool:
        """Whether it tells anything beyond the filter's own drop."""
        figures = (self.airflow_m3s, self.return_static_pa, self.supply_static_pa)
        return any(figure is not None for figure in figures) or bool(self.blower_tap or self.coil)


def without_filter(measured: Measured) -> float | None:
    """The return static in Pa without the filter; None where it was not measured.

    Raises NotRecordable where the filter's drop has to be taken off it and is not known, or is larger.
    """
    total, drop = measured.return_static_pa, measured.filter_drop_pa
    if total is None or not measured.filter_in:
        return total
    if drop is None:
        raise NotRecordable(
            _("The return static was taken with the filter in: write the drop of that moment too.")
        )
    if drop > total:
        raise NotRecordable(
            _("The filter alone cannot drop more than the whole return side: check both ports.")
        )
    return total - drop


def record_air(
    system: System, measured: Measured, at: datetime, user: User | None, now: datetime
) -> AirRecord:
    """Store what was measured; the newest record's statics become the system's, at its design airflow.

    Statics go with the airflow's square; where the airflow was not measured they count as at design. Raises
    NotRecordable for impossible figures, a moment to come and a second record of one moment.
    """
    back = without_filter(measured)
    _refuse_impossible(measured, at, now)
    record = AirRecord(
        system=system,
        measured_at=at,
        airflow_m3s=measured.airflow_m3s,
        airflow_method=measured.airflow_method,
        return_static_pa=back,
        supply_static_pa=measured.supply_static_pa,
        filter_drop_pa=measured.filter_drop_pa,
        blower_tap=measured.blower_tap,
        coil=measured.coil,
        measured_by=user,
    )
    try:
        with transaction.atomic():
            record.save()
            if not system.air_records.filter(measured_at__gt=at).exists():
                _take_over(system, record)
            FilterSlot.objects.filter(system=system).update(facts_changed_at=now)
    except IntegrityError:
        raise NotRecordable(_("The air side of that very moment is already on record.")) from None
    return record


def _refuse_impossible(measured: Measured, at: datetime, now: datetime) -> None:
    statics = (measured.return_static_pa, measured.supply_static_pa, measured.filter_drop_pa)
    if any(one is not None and not 0 <= one <= HIGHEST_DROP_PA for one in statics):
        raise NotRecordable(_("A static of that size is more than any blower here can draw. Check the unit."))
    airflow = measured.airflow_m3s
    if airflow is not None and not 0 < airflow <= HIGHEST_AIRFLOW_M3S:
        raise NotRecordable(
            _("The airflow must be above 0 and within what a home's blower moves. Check the unit.")
        )
    if at > now + timedelta(minutes=5):
        raise NotRecordable(_("That moment is still to come."))


def _take_over(system: System, record: AirRecord) -> None:
    for name, before in _BEFORE.items():
        static = getattr(record, name)
        if static is not None:
            setattr(record, before, getattr(system, name))
            setattr(system, name, at_design(static, record.airflow_m3s, design_airflow(system)[0]))
    record.save()
    system.save()


def carry_again(system: System) -> None:
    """Carry the newest statics measured to the system's present design airflow; unsaved."""
    for name in ("return_static_pa", "supply_static_pa"):
        newest = system.air_records.filter(**{f"{name}__isnull": False}).order_by("-measured_at").first()
        if newest is not None and newest.airflow_m3s is not None:
            static = at_design(getattr(newest, name), newest.airflow_m3s, design_airflow(system)[0])
            setattr(system, name, static)


def at_design(static_pa: float, airflow_m3s: float | None, design_m3s: float | None) -> float:
    """A duct's static in Pa as it would be at the design airflow; as it is where either is not known and
    where they are too far apart for the square to be trusted."""
    if not airflow_m3s or not design_m3s or far_from_design(airflow_m3s, design_m3s):
        return static_pa
    return static_pa * (design_m3s / airflow_m3s) ** 2


def take_back(record: AirRecord, now: datetime) -> None:
    """Strike a measurement out, its row kept in the history; what counted before it counts again: the newest
    measurement that is left, else what the record held without one."""
    system = record.system
    with transaction.atomic():
        # What was written down after a newer one never took its place.
        counted = not system.air_records.filter(measured_at__gt=record.measured_at, pk__lt=record.pk).exists()
        for name, before in _BEFORE.items():
            if counted and getattr(record, name) is not None:
                _step_back(system, record, name, before)
        record.delete()
        system.save()
        FilterSlot.objects.filter(system=system).update(facts_changed_at=now)


def _step_back(system: System, record: AirRecord, name: str, before: str) -> None:
    others = system.air_records.filter(**{f"{name}__isnull": False}).exclude(pk=record.pk)
    later = others.filter(measured_at__gt=record.measured_at).order_by("measured_at").first()
    if later is not None:
        # The later one took the place of this; should it go too, what was before this counts again.
        setattr(later, before, getattr(record, before))
        later.save()
        return
    newest = others.order_by("-measured_at").first()
    static = getattr(record, before)
    if newest is not None:
        static = at_design(getattr(newest, name), newest.airflow_m3s, design_airflow(system)[0])
    setattr(system, name, static)
