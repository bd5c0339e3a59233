"""Plans of rounds from asking to taking over: worked out behind the pages, watched, stopped, booked."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.models import Desk, FilterSlot, Site, User
from schedules import due, visits
from schedules.background_runs import NotPlannable, Watched, claim, give_up_lost
from schedules.bookable import NotBookable, cannot_work
from schedules.day_problem import NoStart
from schedules.models import MaintenanceTask, RoundPlan, Technician, Visit
from schedules.planning.routing import solve
from schedules.proposal import proposal_of
from schedules.round_changes import Record
from schedules.rounds import ask
from schedules.routes import order_day
from schedules.season_week import trips_for
from schedules.visits import Booking

LONGEST_DAYS = 21
SECONDS = (10, 30, 120, 600)


def ask_for(plan: RoundPlan, now: datetime) -> RoundPlan:
    """Queue the plan. Raises NotPlannable for days past or too many, and while another is worked out."""
    today = due.today(now)
    if plan.first_day <= today:
        raise NotPlannable(_("A plan begins tomorrow at the earliest; today's rounds run already."))
    if not plan.first_day <= plan.last_day <= plan.first_day + timedelta(days=LONGEST_DAYS - 1):
        raise NotPlannable(_("A plan holds from one day to three weeks."))
    if plan.seconds not in SECONDS:
        raise NotPlannable(_("That is no time to search for."))
    if RoundPlan.objects.filter(state__in=(RoundPlan.State.WAITING, RoundPlan.State.RUNNING)).exists():
        raise NotPlannable(_("Another plan is being worked out; wait for it or stop it."))
    plan.asked_at = now
    plan.save()
    return plan


def run_waiting(now: datetime) -> int:
    """Work out the plans that wait, one after another, and give up those whose worker was lost; how many."""
    give_up_lost(RoundPlan, now)
    count = 0
    while (plan := claim(RoundPlan, now)) is not None:
        _run(plan)
        count += 1
    return count


def _run(plan: RoundPlan) -> None:
    row = RoundPlan.objects.filter(pk=plan.pk, state=RoundPlan.State.RUNNING)

    def tell(share: float) -> bool:
        row.update(progress=share, heard_at=timezone.now())
        return not row.filter(stop_asked=False).exists()

    rule = Watched(plan.seconds, tell)
    try:
        today = due.today(timezone.now())
        asked = ask(plan, today, trips_for(plan, today))
        # Tables of ways may have taken their time.
        tell(0.0)
        solution = solve(asked.problem, rule, seed=1)
        proposal = proposal_of(plan, asked, solution)
    except Exception as error:
        row.update(
            state=RoundPlan.State.FAILED, ended_at=timezone.now(), why=f"{type(error).__name__}: {error}"
        )
        raise
    state = RoundPlan.State.STOPPED if rule.stopped else RoundPlan.State.READY
    row.update(state=state, ended_at=timezone.now(), progress=1.0, proposal=proposal)


@dataclass(frozen=True)
class Taken:
    """How many visits were booked and moved, and the homes where it was not possible, with the reason."""

    booked: int
    moved: int
    refused: list[tuple[str, str]]


def take_over(plan: RoundPlan, user: User, now: datetime) -> Taken:
    """Book what the plan proposes, home by home; what has changed since is left and named.

    Raises NotPlannable for a plan that has nothing to take over or was taken already.
    """
    open_ = RoundPlan.objects.filter(pk=plan.pk, state__in=(RoundPlan.State.READY, RoundPlan.State.STOPPED))
    if not plan.proposal.get("days") or not open_.update(state=RoundPlan.State.TAKEN):
        raise NotPlannable(_("There is nothing to take over, or it was taken over already."))
    booked = moved = 0
    refused: list[tuple[str, str]] = []
    record = Record(plan, [stop for row in plan.proposal["days"] for stop in row["stops"]])
    placed: set[int] = set()
    rounds: list[tuple[Technician, date]] = []
    for row in plan.proposal["days"]:
        technician, day = (
            Technician.objects.filter(pk=row["technician"]).first(),
            date.fromisoformat(row["day"]),
        )
        if technician is None:
            gone = _("This technician is not on record any more.")
            refused += [(stop["home"], gone) for stop in row["stops"]]
            continue
        for stop in row["stops"]:
            try:
                with transaction.atomic():
                    placed.add(_take_stop(stop, technician, day, record, now))
            except (NotBookable, ObjectDoesNotExist) as error:
                refused.append((stop["home"], str(error)))
                continue
            booked += stop["change"] in ("new", "day")
            moved += stop["change"] == "moved"
        rounds.append((technician, day))
    # Only once every move is made does a day show who stands on it.
    for technician, day in rounds:
        if day > due.today(now):
            refused += _beside_others(record, placed, technician, day, now)
    RoundPlan.objects.filter(pk=plan.pk).update(
        outcome={"booked": booked, "moved": moved, "refused": refused, "by": user.pk, "at": now.isoformat()}
    )
    return Taken(booked, moved, refused)


def _beside_others(
    record: Record, placed: set[int], technician: Technician, day: date, now: datetime
) -> list[tuple[str, str]]:
    """Where somebody stands on a day otherwise than the plan proposed, put the day in order anew.

    Returns those that it has no room for, and those who were told other hours, with the reason.
    """
    rows = Visit.objects.filter(technician=technician, day=day, state__in=Visit.ON_A_DAY)
    # What the plan left keeps no old time beside the new ones.
    if not any(v.pk not in placed and (v.arrive_at or not record.was_left(v)) for v in rows):
        return []
    try:
        order = order_day(technician, day, now)
    except NoStart as error:
        return [(technician.name, str(error))]
    told = _("It was told other hours, and is told anew.")
    left = [(visit.site.address or visit.site.name, why) for visit, why in order.left_out]
    return left + [(visit.site.address or visit.site.name, told) for visit in order.broken]


def _take_stop(stop: dict[str, Any], technician: Technician, day: date, record: Record, now: datetime) -> int:
    """Book or move what the stop stands for, and give it its time; the visit's id."""
    if day <= due.today(now):
        raise NotBookable(_("That day runs already: put it in order on its own page."))
    if why := record.why(stop, day):
        raise NotBookable(why)
    visit = _visit(stop, technician, day, now)
    zone = Desk.the().zone
    arrive, leave = (
        datetime.combine(day, time.fromisoformat(stop[key]), zone).astimezone(UTC)
        for key in ("arrive", "leave")
    )
    visit.arrive_at, visit.leave_at, visit.stop_number = arrive, leave, stop["number"]
    visit.save(update_fields=["arrive_at", "leave_at", "stop_number"])
    return visit.pk


def _visit(stop: dict[str, Any], technician: Technician, day: date, now: datetime) -> Visit:
    if stop["visit"] is None:
        slots = FilterSlot.objects.filter(pk__in=stop["slots"])
        tasks = MaintenanceTask.objects.filter(pk__in=stop["tasks"])
        site = Site.objects.get(pk=stop["site"])
        return visits.book(Booking(site, list(slots), list(tasks), technician, day), now)
    visit = Visit.objects.select_related("technician", "site").get(pk=stop["visit"])
    if visit.day == day and visit.technician_id == technician.pk:
        if not visit.is_open:
            raise NotBookable(_("This visit is over."))
        if why := cannot_work(technician, day):
            raise NotBookable(why)
        return visit
    return visits.schedule(visit, technician, day, now)
