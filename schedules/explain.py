"""Why this date, in sentences that a homeowner understands."""

from dataclasses import dataclass
from datetime import date

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from equipment.models import FilterSlot, System
from equipment.unit_words import show
from schedules.dust_words import dust_sentences
from schedules.models import Plan, Policy
from schedules.planning.age_replacement import MOST_CHANCE
from shared.units import PRESSURE

# A share of the way to the limit below which nothing is worth saying of the dust yet.
FRESH = 0.05

# What was not measured and is said to be assumed, by the note of a plan.
_ASSUMED = {
    "no_record": gettext_noop("No change, reading or fitting date is on record."),
    "fitted_unknown": gettext_noop(
        "The day this filter was put in is not known; its days count from the first record."
    ),
    "medium_carried": gettext_noop(
        "The last change did not say which filter went in; we assume the same as before."
    ),
    "airflow_from_capacity": gettext_noop(
        "The design airflow is not on record; it is taken from the cooling capacity."
    ),
    "airflow_unknown": gettext_noop(
        "Neither airflow nor capacity is on record, so the drop cannot be reckoned."
    ),
    "no_medium": gettext_noop("Which filter is in there is not on record, so no limit can be set."),
    "no_points": gettext_noop(
        "The label's drop for this filter is not on record, so the drop cannot be reckoned."
    ),
    "one_point": gettext_noop(
        "The label gives one drop only; others are reckoned with the usual exponent of 1.18."
    ),
    "beyond_points": gettext_noop(
        "The airflow here lies outside the label's points; the curve was drawn on from its end."
    ),
    "reading_beyond": gettext_noop(
        "A reading's airflow lies outside the label's points; "
        "it was carried with the curve drawn on from its end."
    ),
    "limit_twice_clean": gettext_noop("The limit is twice the clean drop."),
    "limit_budget": gettext_noop("The limit is what the ducts leave of the blower's static."),
    "nothing_left": gettext_noop(
        "The ducts leave the filter nothing above its clean drop. A technician should look."
    ),
    "statics_assumed": gettext_noop("A duct's static was not measured and is taken as nought."),
    "below_clean": gettext_noop(
        "A reading lies below the clean drop. Is the filter in place, does air pass beside it, "
        "was the right tap read? It was left out of the date."
    ),
    "loads_fast": gettext_noop(
        "A filter is full within a month here. A larger or deeper one would last; so would less "
        "dust, if its cause is found."
    ),
    "begun_anew": gettext_noop(
        "The drop fell as if a fresh filter had gone in that nobody wrote down. The date counts "
        "from then; the fan hours count from the last change on record."
    ),
    "for_a_while": gettext_noop("Another filter than usual is in there, for a while."),
    "size_differs": gettext_noop("The filter on record is of another size than its slot."),
    "usual_pace": gettext_noop(
        "This desk has too few readings yet: how fast it loads is taken from a usual house."
    ),
    "fleet_pace": gettext_noop(
        "How fast filters load in the other homes of this desk is taken into account."
    ),
    "short_log": gettext_noop(
        "The fan log here holds few days: part of the hours are expected from the weather, so the span is "
        "somewhat wider."
    ),
    "log_doubted": gettext_noop(
        "By its log the fan runs little here, but the filter has loaded as if it ran more: part of the hours "
        "are expected from the weather."
    ),
    "no_log": gettext_noop("No fan log here: hours are expected from the weather, so the span is wide."),
    "stale_station": gettext_noop(
        "The weather station of this home has told nothing of late; usual weather is assumed since."
    ),
    "station_unfed": gettext_noop(
        "The weather station of this home has no day on record yet; a usual climate is assumed."
    ),
    "no_station": gettext_noop(
        "No weather station is named for this home; a usual climate of its latitude is assumed."
    ),
}


@dataclass(frozen=True)
class Explained:
    """The headline, the reason in a sentence, how sure we are, and what was assumed."""

    headline: str
    why: str
    sure: str
    assumed: list[str]
    asked: str
    """What the reason answers, as a heading."""


def say_day(day: date | None) -> str:
    """A day as people write it in the active language; a dash for none."""
    return formats.date_format(day, _("j F Y")) if day else "–"


def say_weekday(day: date) -> str:
    """The day of the week by name."""
    return formats.date_format(day, "l")


def say_short(day: date) -> str:
    """Day and month, without the year."""
    return formats.date_format(day, _("j F"))


def explain(slot: FilterSlot, plan: Plan | None, today: date, policy: Policy, units: str = "ip") -> Explained:
    """What the filter's page and its letters say of the plan."""
    if plan is None or plan.due_on is None:
        return Explained(
            _("Not enough is known to set a date"),
            _("There is no record yet of when this filter was put in. Tell us when it was last changed."),
            "",
            assumptions(plan),
            _("Why there is no date"),
        )
    if plan.needs_technician:
        return Explained(
            _("A technician should look at this filter"),
            _(
                "The ducts here leave no room for the filter: even a fresh one holds back more air than the "
                "blower can spare. Changing it more often does not help; please do not fit a finer one."
            ),
            "",
            assumptions(plan),
            _("Why somebody should look"),
        )
    assumed = [*assumptions(plan), *_cost_left_out(slot, policy)]
    return Explained(
        _headline(plan.due_on, today),
        _why(plan, policy, units),
        sureness(plan, today),
        assumed,
        _("Why this date"),
    )


def _cost_left_out(slot: FilterSlot, policy: Policy) -> list[str]:
    """Why least cost had no say, as far as slot and desk tell; empty where it had."""
    if policy.electricity_price_kwh is not None:
        if slot.system_id is None or slot.system.blower != System.Blower.FIXED_SPEED:
            return []
        return [
            _(
                "The fan's electricity is not weighed here: a fixed-speed fan draws less as its air falls, "
                "and how much is not known."
            )
        ]
    return [_("The fan's electricity is not weighed against a fresh filter: no price of it is set.")]


def _headline(due: date, today: date) -> str:
    if due < today:
        days = (today - due).days
        return ngettext("Due since %(day)s, %(n)d day ago", "Due since %(day)s, %(n)d days ago", days) % {
            "day": say_day(due),
            "n": days,
        }
    if due == today:
        return _("Due today")
    return _("Change it by %(day)s") % {"day": say_day(due)}


def _held_back(plan: Plan, policy: Policy) -> bool:
    """Whether the desk's shortest interval set the day, not the chance."""
    if not policy.shortest_days or plan.due_on is None or plan.life_began_on is None:
        return False
    return (plan.due_on - plan.life_began_on).days == policy.shortest_days


def _why_risk(plan: Plan, policy: Policy, units: str) -> str:
    chance = _("By this day the chance that it has reached its limit comes to %(risk)s in 100.") % {
        "risk": max(round((plan.accepted_risk or policy.accepted_risk) * 100), 1)
    }
    if plan.accepted_risk is not None and plan.accepted_risk < MOST_CHANCE:
        chance += " " + _("From then on, by our reckoning, waiting risks more than a change is worth.")
    if _held_back(plan, policy):
        chance = _("By our rules no filter is changed sooner than %(days)d days after the last change.") % {
            "days": policy.shortest_days
        }
    share = max(loaded_share(plan) or 0.0, 0.0)
    said = {
        "hours": formats.number_format(round(plan.run_hours or 0), force_grouping=True),
        "share": round(share * 100),
        "now": show(plan.drop_now_pa, PRESSURE, units),
        "limit": show(plan.limit_drop_pa, PRESSURE, units),
        "day": say_day(plan.life_began_on),
    }
    if share >= 1:
        return " ".join((_used_up(plan) % said, *dust_sentences(plan)))
    begun = _begun(plan) if share < FRESH else _used_so_far(plan)
    return " ".join((begun % said, *dust_sentences(plan), chance))


def _used_up(plan: Plan) -> str:
    anew, spared = "fitted_unknown" in plan.notes, "limit_budget" in plan.notes
    if anew and spared:
        return _(
            "Your fan has run about %(hours)s hours since this filter was first recorded, and dust has used "
            "up what your blower can spare (the filter holds back the air by about %(now)s; its limit here "
            "is %(limit)s)."
        )
    if anew:
        return _(
            "Your fan has run about %(hours)s hours since this filter was first recorded, and dust has "
            "brought it to its limit (it holds back the air by about %(now)s; its limit here is %(limit)s)."
        )
    if spared:
        return _(
            "Your fan has run about %(hours)s hours since the last change, and dust has used up what your "
            "blower can spare (the filter holds back the air by about %(now)s; its limit here is %(limit)s)."
        )
    return _(
        "Your fan has run about %(hours)s hours since the last change, and dust has brought the filter to "
        "its limit (it holds back the air by about %(now)s; its limit here is %(limit)s)."
    )


def _begun(plan: Plan) -> str:
    if "fitted_unknown" in plan.notes:
        return _(
            "This filter has been on record since %(day)s. As it fills, it holds back more of the air, up to "
            "a limit of %(limit)s here."
        )
    if "limit_budget" in plan.notes:
        return _(
            "A fresh filter has been in since %(day)s. As it fills, dust uses up the pressure that your "
            "blower can spare here (up to a limit of %(limit)s)."
        )
    return _(
        "A fresh filter has been in since %(day)s. As it fills, it holds back more of the air, up to a limit "
        "of %(limit)s here."
    )


def _used_so_far(plan: Plan) -> str:
    anew, spared = "fitted_unknown" in plan.notes, "limit_budget" in plan.notes
    if anew and spared:
        return _(
            "Your fan has run about %(hours)s hours since this filter was first recorded, and dust has used "
            "about %(share)s %% of the pressure that your blower can spare here (now %(now)s, limit "
            "%(limit)s)."
        )
    if anew:
        return _(
            "Your fan has run about %(hours)s hours since this filter was first recorded, and dust has "
            "brought it about %(share)s %% of the way to its limit here (now %(now)s, limit %(limit)s)."
        )
    if spared:
        return _(
            "Your fan has run about %(hours)s hours since the last change, and dust has used about "
            "%(share)s %% of the pressure that your blower can spare here (now %(now)s, limit %(limit)s)."
        )
    return _(
        "Your fan has run about %(hours)s hours since the last change, and dust has brought the filter about "
        "%(share)s %% of the way to its limit here (now %(now)s, limit %(limit)s)."
    )


def _why(plan: Plan, policy: Policy, units: str) -> str:
    if plan.reason == Plan.Reason.RISK:
        return _why_risk(plan, policy, units)
    if plan.reason == Plan.Reason.CALENDAR and "out_again" in plan.notes:
        return _("Another filter than usual is in there for a while. By this day it comes out again.")
    days = (plan.due_on - plan.life_began_on).days if plan.due_on and plan.life_began_on else 0
    if plan.reason == Plan.Reason.MEDIUM:
        return _(
            "However clean it looks, a filter of this make-up may stay in for %(days)d days at most: its age "
            "sets the day, not its load."
        ) % {"days": days}
    if plan.reason == Plan.Reason.COST:
        return _("From this day on, the fan's extra electricity would cost more than a fresh filter saves.")
    if plan.p50_on is None and plan.drop_now_pa is None:
        return _("We cannot reckon yet how fast it loads here, so the calendar decides: %(days)d days.") % {
            "days": days
        }
    if plan.p50_on is None and "no_log" not in plan.notes and (plan.run_hours or 0.0) < 1.0:
        return _("By its log the fan has not run, so the calendar decides: %(days)d days.") % {"days": days}
    if plan.p50_on is not None and plan.due_on is not None and plan.p50_on <= plan.due_on:
        return _("It may be full before this day, but by our rules it stays in for %(days)d days.") % {
            "days": days
        }
    return _(
        "It loads slowly here, but no filter of this kind should stay in longer than %(days)d days, so the "
        "calendar decides."
    ) % {"days": days}


def sureness(plan: Plan, today: date) -> str:
    """The span in words; empty where nothing can be said."""
    if plan.p50_on is None:
        return ""
    if plan.p50_on <= plan.as_of:
        return _("It is probably past its limit already.")
    low = plan.p10_on or plan.as_of
    if low <= plan.as_of:
        return _may_be_past(plan)
    if plan.p90_on is None:
        return _(
            "We expect it to reach its limit around %(mid)s, not before %(low)s; how late is hard to tell."
        ) % {
            "mid": say_day(plan.p50_on),
            "low": say_day(low),
        }
    return _("We expect it to reach its limit between %(low)s and %(high)s, most likely around %(mid)s.") % {
        "low": say_day(low),
        "high": say_day(plan.p90_on),
        "mid": say_day(plan.p50_on),
    }


def _may_be_past(plan: Plan) -> str:
    """Where the earliest day of the span is behind us."""
    said = {"mid": say_day(plan.p50_on), "high": say_day(plan.p90_on)}
    if plan.p90_on is None:
        return (
            _("It may have reached its limit already, most likely around %(mid)s; how late is hard to tell.")
            % said
        )
    return (
        _("It may have reached its limit already; we expect it by %(high)s, most likely around %(mid)s.")
        % said
    )


def assumptions(plan: Plan | None) -> list[str]:
    """What was not measured, said to be assumed."""
    told = [_(_ASSUMED[note]) for note in (plan.notes if plan else ["no_record"]) if note in _ASSUMED]
    if plan is not None and plan.reason != Plan.Reason.RISK:
        told.extend(dust_sentences(plan))
    return told


def state_word(plan: Plan | None, today: date, lead_days: int) -> tuple[str, str]:
    """The filter's state as a word and the shape that is drawn beside it."""
    if plan is None or plan.due_on is None:
        return _("not enough to say"), "open"
    if plan.needs_technician:
        return _("needs a technician"), "past"
    if plan.due_on < today:
        return _("overdue"), "past"
    if (plan.due_on - today).days <= lead_days:
        return _("due"), "due"
    if plan.p50_on is not None and plan.p50_on <= today:
        return _("likely full"), "past"
    share = loaded_share(plan)
    if share is not None and share < 0.15:
        return _("clean"), "clean"
    return _("loading"), "loading"


def loaded_share(plan: Plan | None) -> float | None:
    """How far the drop has gone from clean to limit: nought to one, above it past the limit."""
    if plan is None or plan.drop_now_pa is None or plan.clean_drop_pa is None or plan.limit_drop_pa is None:
        return None
    room = plan.limit_drop_pa - plan.clean_drop_pa
    return (plan.drop_now_pa - plan.clean_drop_pa) / room if room > 0 else 1.0


def tube_words() -> str:
    """How a small gauge is read."""
    return _("A tube that fills from left to right; the stroke across it is the limit.")
