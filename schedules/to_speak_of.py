"""Of which filters a written letter still has to speak, looked at when it goes out."""

from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from equipment.models import Desk, FilterSlot, Media
from schedules.answers import Answered
from schedules.models import Notice, Policy, Visit
from schedules.notice_slots import of_a_technician, open_slots, slots_of_visits
from shared import clock

# A date that moved off by more than this beyond the notice time is told of when it comes near again.
_MOVED_OFF = timedelta(days=7)


def to_speak_of(notice: Notice, now: datetime) -> list[FilterSlot]:
    """The notice's filters that are their household's to change now, and that nothing was said of since."""
    return [slot for slot, why in _looked_at(notice, now) if not why]


def why_nothing(notice: Notice, now: datetime) -> str:
    """Why the letter has nothing to say any more; empty where it has."""
    looked = _looked_at(notice, now)
    if not looked:
        return _("the filters were changed meanwhile")
    if not all(why for _slot, why in looked):
        return _why_not_near(notice, [slot for slot, why in looked if not why], now)
    return looked[0][1]


def _looked_at(notice: Notice, now: datetime) -> list[tuple[FilterSlot, str]]:
    slots = open_slots(notice, now)
    ids = [slot.pk for slot in slots]
    booked, asked = slots_of_visits(ids, Visit.ON_A_DAY), of_a_technician(ids)
    answered = Answered(ids, now)
    return [(slot, _why_not(slot, booked, asked, answered, now)) for slot in slots]


def _why_not(slot: FilterSlot, booked: set[int], asked: set[int], answered: Answered, now: datetime) -> str:
    if slot.pk in booked:
        return _("a visit is booked")
    if slot.pk in asked:
        return _("somebody was asked to come")
    if answered.settles(slot, now):
        return _("they answered meanwhile")
    plan = getattr(slot, "plan", None)
    if slot.changed_by == FilterSlot.ChangedBy.TECHNICIAN or (plan is not None and plan.needs_technician):
        return _("a technician sees to it now")
    return ""


def _why_not_near(notice: Notice, slots: list[FilterSlot], now: datetime) -> str:
    """Where the dates have moved off since the letter was written."""
    policy = Policy.the()
    zone = notice.site.zone(Desk.the().timezone) if notice.site else Desk.the().zone
    leads = [
        lead or policy.lead_days for lead in Media.objects.values_list("lead_days", flat=True).distinct()
    ]
    longest = max([policy.lead_days, *leads])
    near = clock.local_day(now, zone) + timedelta(days=longest + policy.together_days) + _MOVED_OFF
    dates = [slot.plan.due_on for slot in slots if getattr(slot, "plan", None) and slot.plan.due_on]
    return _("the dates have moved off") if dates and min(dates) > near else ""
