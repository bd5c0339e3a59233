"""What has changed on the record since a plan of rounds was worked out, home by home."""

from collections import defaultdict
from datetime import date, datetime, time
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.models import Desk, FilterChange
from schedules.bookable import cannot_work
from schedules.hours import seconds_of, span_of
from schedules.models import HomeHours, RoundPlan, Technician, Visit, VisitJob
from schedules.open_times import standing
from schedules.proposal import stood
from schedules.visit_notices import told_by_visit
from schedules.visit_promises import Promise, standing_promise


def changed_since(plan: RoundPlan) -> list[tuple[str, str]]:
    """Homes that could not be taken over as planned, with the reason; a few queries whatever the plan's size.

    What taking it over would refuse for other reasons is named then.
    """
    days = plan.proposal.get("days", [])
    stops = [stop for day in days for stop in day["stops"]]
    record = Record(plan, stops)
    staff = Technician.objects.in_bulk([day["technician"] for day in days])
    found = []
    for day in days:
        who, on = staff.get(day["technician"]), date.fromisoformat(day["day"])
        away = cannot_work(who, on) if who else _("This technician is not on record any more.")
        found += record.others(day)
        found += [
            (stop["home"], away or why) for stop in day["stops"] if (why := record.why(stop, on)) or away
        ]
    return found


def why_not_taken(
    stop: dict[str, Any], visit: Visit | None, day: date, told: Promise | None, home: HomeHours | None
) -> str:
    """What was promised or agreed of the stop since the plan was worked out, and it would break."""
    if visit is not None and stop["change"] == "moved":
        if visit.pinned:
            return _("It was held to its day since.")
        if visit.state == Visit.State.CONFIRMED:
            return _("It was confirmed since.")
        if told is not None and told.coming:
            return _("Its household was told of it since.")
    if visit is not None and visit.state == Visit.State.UNDER_WAY:
        return _("Somebody is at the door.")
    then = stop.get("stood")
    if visit is not None and then and then != stood(visit):
        if then[:2] != stood(visit)[:2]:
            return _("It was booked or moved otherwise since.")
        return _("Other hours were agreed with the home since, or its work is another.")
    told = standing_promise(visit, told) if visit is not None else None
    arrive = time.fromisoformat(stop["arrive"])
    if told is not None and told.coming and told.day == day and told.first and told.last:
        zone = Desk.the().zone
        if not told.first <= datetime.combine(day, arrive, zone) <= told.last:
            return _("Its household was told other hours since.")
        return ""
    firsts = [visit.window_from if visit else None, home.not_before if home else None]
    lasts = [visit.window_to if visit else None, home.not_after if home else None]
    first, last = span_of(firsts, lasts)
    if not first <= seconds_of(arrive) <= last:
        return _("Other hours were agreed with the home since.")
    return ""


class Record:
    """Visits, jobs and changes as they stand now, beside what the plan reckoned with."""

    def __init__(self, plan: RoundPlan, stops: list[dict[str, Any]]) -> None:
        self.known = {stop["visit"] for stop in stops}
        self.left = {row["visit"]: row.get("stood") for row in plan.proposal.get("left", []) if row["visit"]}
        self.visits = Visit.objects.in_bulk([stop["visit"] for stop in stops if stop["visit"]])
        self.offered = set(standing(timezone.localdate()).values_list("visit", flat=True))
        self.told = told_by_visit(set(self.visits))
        suits = HomeHours.objects.filter(site__in=[stop["site"] for stop in stops])
        self.homes = {row.site_id: row for row in suits}
        slots = [slot for stop in stops for slot in stop["slots"]]
        tasks = [task for stop in stops for task in stop["tasks"]]
        open_jobs = VisitJob.objects.filter(visit__state__in=Visit.OPEN)
        self.taken = set(open_jobs.filter(slot__in=slots).values_list("slot_id", flat=True))
        self.taken_tasks = set(open_jobs.filter(task__in=tasks).values_list("task_id", flat=True))
        rows = Visit.objects.filter(
            day__range=(plan.first_day, plan.last_day), state__in=Visit.ON_A_DAY, technician__isnull=False
        )
        self.on_days: dict[tuple[int, str], list[Visit]] = defaultdict(list)
        for visit in rows.select_related("site"):
            self.on_days[visit.technician_id or 0, str(visit.day)].append(visit)
        changes = FilterChange.objects.filter(slot__in=slots, undone_at=None)
        since = plan.started_at or plan.asked_at
        self.changed = set(changes.filter(recorded_at__gt=since).values_list("slot_id", flat=True))

    def why(self, stop: dict[str, Any], day: date) -> str:
        """What is otherwise now; empty where all is as it was."""
        visit = self.visits.get(stop["visit"]) if stop["visit"] else None
        if stop["visit"] and (visit is None or not visit.is_open):
            return _("The visit is over or called off.")
        if stop["visit"] is None and self._booked(stop):
            return _("It was booked since.")
        if visit is not None and visit.pk in self.offered:
            return _("Times were offered to its household since.")
        if self.changed & set(stop["slots"]):
            return _("A filter was changed there since.")
        return why_not_taken(stop, visit, day, self.told.get(stop["visit"]), self.homes.get(stop["site"]))

    def others(self, day: dict[str, Any]) -> list[tuple[str, str]]:
        """Visits of the round's technician and day that the plan knows nothing of."""
        said = _("It was booked for %(name)s that day since: the day is put in order anew with it.")
        return [
            (visit.site.address or visit.site.name, said % {"name": day["name"]})
            for visit in self.on_days.get((day["technician"], day["day"]), [])
            if visit.pk not in self.known and not self.was_left(visit)
        ]

    def was_left(self, visit: Visit) -> bool:
        """Whether the plan found no place for the visit as it still stands."""
        return self.left.get(visit.pk) == stood(visit)

    def _booked(self, stop: dict[str, Any]) -> bool:
        return bool(self.taken & set(stop["slots"]) or self.taken_tasks & set(stop["tasks"]))
