"""What was done at a home beside changes, readings and visits: air measured, filters in for a while, defects
seen and settled; what was taken back or put right is told as such."""

from collections import defaultdict
from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from equipment.models import AirRecord, Meanwhile, Site
from schedules.done_entry import Entry, put_right, written
from schedules.explain import say_day
from schedules.models import Defect
from shared import clock
from shared.units import AIRFLOW, PRESSURE, show


def air(site: Site, zone: ZoneInfo, units: str) -> Iterator[Entry]:
    """Air-side measurements, those that were taken back too: of these the history alone is left."""
    told = _versions(AirRecord.history.filter(system__site=site), "system", "measured_by__person")
    stand = AirRecord.objects.filter(system__site=site).select_related("system", "measured_by__person")
    for row in stand:
        told[row.pk] = [*told.get(row.pk, []), row]
    for rows in told.values():
        last = rows[-1]
        said = _air_words(last, units)
        gone = getattr(last, "history_type", "") == "-"
        yield Entry(
            clock.local_day(last.measured_at, zone),
            last.system.name,
            put_right(said, (was for row in rows if (was := _air_words(row, units)) != said)),
            last.airflow_method,
            written(last.recorded_at, last.measured_by, zone),
            clock.local_day(last.history_date, zone) if gone else None,
        )


def _air_words(row: Any, units: str) -> str:
    figures = (
        (_("airflow"), row.airflow_m3s, AIRFLOW),
        (_("return static without the filter"), row.return_static_pa, PRESSURE),
        (_("supply static"), row.supply_static_pa, PRESSURE),
        (_("filter drop"), row.filter_drop_pa, PRESSURE),
    )
    told = (f"{name} {show(value, kind, units)}" for name, value, kind in figures if value is not None)
    return _("Air measured: %(figures)s") % {"figures": ", ".join(told)}


def meanwhiles(site: Site, zone: ZoneInfo, where: dict[int, str]) -> Iterator[Entry]:
    """Filters that went in for a while, from their first day."""
    told = _versions(Meanwhile.history.filter(slot__system__site=site), "media")
    rows = Meanwhile.objects.filter(slot__system__site=site)
    for row in rows.select_related("media", "recorded_by__person"):
        said = _while_words(row)
        yield Entry(
            row.begins_on,
            where[row.slot_id],
            put_right(said, (was for one in told.get(row.pk, []) if (was := _while_words(one)) != said)),
            "",
            written(row.recorded_at, row.recorded_by, zone),
        )


def _while_words(row: Any) -> str:
    said = {"medium": f"{row.media.name}, MERV {row.media.merv}", "day": say_day(row.ends_on)}
    words = _("Filter in for a while: %(medium)s, to come out by %(day)s") % said
    words += f" ({row.why})" if row.why else ""
    if row.ended_on is not None:
        words += _("; ended on %(day)s") % {"day": say_day(row.ended_on)}
    return words


def defects(site: Site, zone: ZoneInfo) -> Iterator[Entry]:
    """What was seen that wants correcting, and that it was settled, each on its day."""
    rows = Defect.objects.filter(site=site).select_related(
        "visit__technician", "seen_by__person", "settled_by__person"
    )
    for row in rows:
        kind = row.get_kind_display()
        yield Entry(
            clock.local_day(row.seen_at, zone),
            "",
            _("Seen: %(what)s") % {"what": kind},
            str(row.visit.technician or ""),
            written(row.seen_at, row.seen_by, zone),
        )
        if row.settled_at is not None:
            settled = _("Settled: %(what)s") % {"what": kind}
            yield Entry(
                clock.local_day(row.settled_at, zone),
                "",
                f"{settled}: {row.settled_how}" if row.settled_how else settled,
                "",
                written(row.settled_at, row.settled_by, zone),
            )


def _versions(rows: Any, *related: str) -> dict[int, list[Any]]:
    """Of each row everything that it ever was, oldest first; one query."""
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows.select_related(*related).order_by("history_date", "history_id"):
        found[row.id].append(row)
    return found
