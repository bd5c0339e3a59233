"""What the season says in words: too full, room, what could be moved, what would differ."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from django.utils import timezone
from django.utils.formats import number_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from schedules.explain import say_day, say_short
from schedules.models import Policy
from schedules.planning.season_moves import Moved
from schedules.season import Facts, Season
from schedules.season_fit import LEAST_MINUTES
from schedules.season_jobs import WhatIf
from schedules.season_staff import ASSUMED_HELD_SHARE

# Minutes are told up to so many; beyond, hours.
_MOST_MINUTES = 1000.0
_MOST_WEEKS_NAMED = 6
# A difference below this is none, minutes.
_LEAST_DIFFERENCE = 15.0


def hours(minutes: float) -> str:
    """Hours to a tenth below ten, else whole."""
    return number_format(round(minutes / 60, 1 if abs(minutes) < 595 else 0), 1 if abs(minutes) < 595 else 0)


def amount(minutes: float) -> str:
    """Such as ``40 min`` or ``6.5 h``."""
    return f"{round(minutes)} min" if minutes < 60 else f"{hours(minutes)} h"


def title_of_skill(known: Facts, one: Season, skill: str) -> str:
    """What there is time for of the work that needs one skill, in one sentence."""
    told = {"skill": skill, "n": int(one.over.sum()), "weeks": len(one.first_days)}
    if not any(skill in who.skills for who in known.team.people):
        return _("The season: nobody has %(skill)s") % told
    if not one.usable.any():
        return _("The season: no time is left for what needs %(skill)s") % told
    if told["n"]:
        return (
            _("The season: in %(n)d of %(weeks)d weeks other work leaves too little time for %(skill)s")
            % told
        )
    return _("The season: other work leaves time for all that needs %(skill)s") % told + _caught_up(one)


def title(one: Season) -> str:
    """The whole in one sentence."""
    weeks, over = len(one.first_days), int(one.over.sum())
    if not one.usable.any():
        return _("The season: nobody works in these weeks")
    if over:
        return ngettext(
            "The season: %(n)d of %(weeks)d weeks holds more work than can be done",
            "The season: %(n)d of %(weeks)d weeks hold more work than can be done",
            over,
        ) % {"n": over, "weeks": weeks} + _caught_up(one)
    if one.nobody:
        return _("The season: all can be done but what nobody has the skills for") + _caught_up(one)
    if one.behind.any():
        return _("The season: no week holds too much of its own") + _caught_up(one)
    return _("The season: the work of all %(weeks)d weeks can be done") % {"weeks": weeks}


def _caught_up(one: Season) -> str:
    """Until when work is left from weeks before, empty where none is."""
    behind = np.flatnonzero(one.behind)
    if not len(behind):
        return ""
    last = int(behind[-1])
    if last + 1 == len(one.first_days):
        return _(", and what is left over is not caught up in them")
    return _(", and what is left over takes until the week of %(day)s") % {
        "day": say_short(one.first_days[last])
    }


def full(known: Facts, one: Season) -> list[tuple[str, list[str], date]]:
    """Each over-full week: how much, what could be moved, and its last day."""
    return [
        (_full(known, one, week), _moves(known, one, week), one.first_days[week] + timedelta(days=6))
        for week in map(int, np.flatnonzero(one.over))
    ]


def _full(known: Facts, one: Season, week: int) -> str:
    load, usable = float(one.load[week]), float(one.usable[week])
    if max(load, usable) < _MOST_MINUTES:
        there = _("%(load)s of %(there)s minutes") % {"load": round(load), "there": round(usable)}
    else:
        there = _("%(load)s of %(there)s hours") % {"load": hours(load), "there": hours(usable)}
    said = _("Week of %(day)s: %(there)s") % {"day": say_day(one.first_days[week]), "there": there}
    if usable <= 0:
        said += _why_none(one, week)
    elif load <= usable and one.tight[week] and not _nobody_at(known, one, week):
        said += _(", and yet %(short)s more than those with the skill %(skills)s can do") % {
            "short": amount(one.short[week]),
            "skills": ", ".join(one.tight[week]),
        }
    elif load <= usable:
        said += _at_branches(known, one, week)
    elif one.tight[week]:
        said += _("; fullest: %(skills)s") % {"skills": ", ".join(one.tight[week])}
    return said + "."


def _why_none(one: Season, week: int) -> str:
    if one.elsewhere[week]:
        return _(", other work takes them")
    return _(", all that is left is held free") if one.gross[week] else _(", nobody works")


def _short_branches(one: Season, week: int) -> list[int]:
    found: list[int] = np.flatnonzero(one.short_by_branch[:, week] > 1.0).tolist()
    return found


def _nobody_at(known: Facts, one: Season, week: int) -> bool:
    """Whether nobody works at any of the branches that are short."""
    there = [one.people[known.team.branch == at, week].sum() for at in _short_branches(one, week)]
    return not any(there)


def _at_branches(known: Facts, one: Season, week: int) -> str:
    """Which branches are short, those where nobody works by themselves."""
    names = known.rows.branches.names
    short = _short_branches(one, week)
    told = {"short": amount(one.short[week]), "branches": ", ".join(names[at] for at in short)}
    if _nobody_at(known, one, week):
        return _(", and yet %(short)s at %(branches)s, where nobody works") % told
    return _(", and yet %(short)s more than can be done at %(branches)s") % told


def _moves(known: Facts, one: Season, week: int) -> list[str]:
    moved = one.moved
    if moved is None:
        return []
    here = np.flatnonzero(moved.week == week)
    sooner, later = here[moved.to[here] < week], here[moved.to[here] > week]
    said = [
        _move_line(
            one.first_days,
            known.rows.branches.names,
            moved,
            sooner,
            _("Pull forward (%(minutes)s): %(where)s. Filter life thrown away, at media prices: %(price)s.")
            if not np.isnan(known.rows.filters.price).all()
            else _("Pull forward (%(minutes)s): %(where)s. No medium has a price on record."),
        ),
        _move_line(
            one.first_days,
            known.rows.branches.names,
            moved,
            later,
            _("Let wait (%(minutes)s): %(where)s. Expected filter-days past the limit: %(days)s more.")
            if not np.isnan(known.rows.filters.p50).all()
            else _("Let wait (%(minutes)s): %(where)s. What that costs is not known: no limit is on record."),
        ),
    ]
    left = float(moved.left[:, week].sum())
    if left > 1.0:
        said.append(
            _("%(left)s stay too many, whatever is moved within its window.") % {"left": amount(left)}
        )
    return [line for line in said if line]


def _move_line(
    days: Sequence[date], branches: Sequence[str], moved: Moved, rows: np.ndarray, sentence: str
) -> str:
    if not len(rows) or moved.jobs[rows].sum() < 0.05:
        return ""
    where = []
    for branch, to in sorted(set(zip(moved.branch[rows].tolist(), moved.to[rows].tolist(), strict=True))):
        some = rows[(moved.to[rows] == to) & (moved.branch[rows] == branch)]
        if moved.jobs[some].sum() < 0.05:
            continue
        told = {"jobs": _jobs(moved.jobs[some].sum()), "day": say_short(days[to]), "branch": branches[branch]}
        here = _("%(jobs)s of %(branch)s to the week of %(day)s")
        where.append((here if len(branches) > 1 else _("%(jobs)s to the week of %(day)s")) % told)
    said = {
        "where": "; ".join(where),
        "minutes": amount(float(moved.minutes[rows].sum())),
        "price": number_format(round(float(moved.money[rows].sum()), 2), 2),
        "days": number_format(round(float(moved.past[rows].sum()), 1), 1),
    }
    return sentence % said


def _jobs(count: float) -> str:
    whole = max(1, round(float(count)))
    return ngettext("about %(n)d job", "about %(n)d jobs", whole) % {"n": whole}


def nobody_has(known: Facts, one: Season) -> list[str]:
    """Work that no single technician of a branch can do."""
    names, said = known.rows.branches.names, []
    for branch, skills, minutes in one.nobody:
        told = {"size": amount(minutes), "skills": _(" and ").join(skills), "branch": names[branch]}
        form = (
            _("%(size)s of work need %(skills)s, and nobody at %(branch)s has that.")
            if len(names) > 1
            else _("%(size)s of work need %(skills)s, and nobody has that.")
        )
        said.append(form % told)
    return said


def may_run_over(one: Season) -> str:
    """The weeks that fit in the middle of their span and not at its upper end."""
    return _named(
        one,
        np.flatnonzero(one.may_run_over),
        _("May run over, at the upper end of the span: the weeks of %(days)s."),
    )


def reserve_taken(one: Season) -> str:
    """The weeks whose booked visits take time that is held free for what is urgent."""
    some = np.flatnonzero(one.eaten > LEAST_MINUTES)
    said = _named(one, some, _("Booked visits take time held free for what is urgent: the weeks of %(days)s"))
    return _("%(said)s, together %(much)s.") % {"said": said, "much": amount(one.eaten.sum())} if said else ""


def overbooked(known: Facts, one: Season) -> list[str]:
    """Who is booked for more than they work."""
    return [
        _("%(name)s is booked for %(booked)s of %(there)s in the week of %(day)s.")
        % {
            "name": known.team.people[row].name,
            "booked": amount(one.people_booked[row, week]),
            "there": amount(one.people[row, week]),
            "day": say_day(one.first_days[week]),
        }
        for week, row in zip(*np.nonzero((one.people_booked - one.people > LEAST_MINUTES).T), strict=True)
    ]


def with_room(one: Season) -> str:
    """The weeks that are half empty."""
    if one.roomy.all():
        return _("All weeks are less than half full, even at the upper end of their span.")
    return _named(one, np.flatnonzero(one.roomy), _("Less than half full: the weeks of %(days)s."))


def _named(one: Season, weeks: np.ndarray, sentence: str) -> str:
    if not len(weeks):
        return ""
    runs = np.split(weeks, np.flatnonzero(np.diff(weeks) > 1) + 1)
    return sentence % {"days": ", ".join(_run(one, run) for run in runs)}


def _run(one: Season, weeks: np.ndarray) -> str:
    """One week by its day, several in a row from the first to the last."""
    first, last = say_short(one.first_days[weeks[0]]), say_short(one.first_days[weeks[-1]])
    if len(weeks) == 1:
        return first
    return _("%(first)s to %(last)s") % {"first": first, "last": last}


def supposed(known: Facts, what_if: WhatIf) -> str:
    """What is supposed, in one line."""
    said = []
    if what_if.without:
        name = next((one.name for one in known.team.people if one.pk == what_if.without), "")
        said.append(_("without %(name)s") % {"name": name})
    if what_if.smoke_weeks:
        form = ngettext(
            "%(n)d week of smoke from that of %(day)s, %(times)s times the usual dust",
            "%(n)d weeks of smoke from that of %(day)s, %(times)s times the usual dust",
            what_if.smoke_weeks,
        )
        monday = known.today - timedelta(days=known.today.weekday() - 7 * what_if.smoke_from)
        told = {"n": what_if.smoke_weeks, "day": say_short(monday), "times": f"{what_if.smoke_factor:g}"}
        said.append(form % told)
    if what_if.risk is not None:
        said.append(_other_risk(what_if.risk, known.rows.policy))
    if what_if.cap_days is not None:
        said.append(_("no filter longer than %(n)d days") % {"n": what_if.cap_days})
    if what_if.customers:
        said.append(
            ngettext("%(n)d customer more", "%(n)d customers more", what_if.customers)
            % {"n": what_if.customers}
        )
    return ", ".join(said)


def _other_risk(risk: float, policy: Policy) -> str:
    said = {"risk": f"{risk * 100:g}", "now": f"{policy.accepted_risk * 100:g}"}
    if policy.late_days is not None:
        return _("accepted risk %(risk)s %% for every filter") % said
    return _("accepted risk %(risk)s %% instead of %(now)s %%") % said


def differences(now: Season, then: Season) -> list[str]:
    """What the supposition changes: in all, in over-full weeks, and where most."""
    more = then.load - now.load
    there = then.usable - now.usable
    elsewhen = bool((np.abs(more) >= _LEAST_DIFFERENCE).any())
    said = [_total(float(more.sum()), float(there.sum()), elsewhen)]
    before, after = int(now.over.sum()), int(then.over.sum())
    if before != after:
        said.append(
            _("Over-full weeks: %(after)d instead of %(before)d.") % {"after": after, "before": before}
        )
    changed = np.flatnonzero(np.abs(more) >= _LEAST_DIFFERENCE)
    order = changed[np.argsort(-np.abs(more[changed]), kind="stable")][:_MOST_WEEKS_NAMED]
    for week in sorted(order):
        size = amount(abs(float(more[week])))
        form = (
            _("Week of %(day)s: %(size)s more.") if more[week] > 0 else _("Week of %(day)s: %(size)s less.")
        )
        said.append(form % {"day": say_day(now.first_days[week]), "size": size})
    return said


def not_supposed(known: Facts, what_if: WhatIf) -> str:
    """What was asked and cannot be reckoned, empty where all can."""
    if what_if.customers and not known.rows.customers:
        return _("No customer is on record whose like could be added: the new ones bring no work here.")
    return ""


def _total(more: float, there: float, elsewhen: bool) -> str:
    if abs(more) < _LEAST_DIFFERENCE and abs(there) < _LEAST_DIFFERENCE:
        if elsewhen:
            return _("In all as much work, in other weeks.")
        return _("Nothing of it shows in these weeks.")
    said = []
    if abs(more) >= _LEAST_DIFFERENCE:
        form = _("%(size)s more work") if more > 0 else _("%(size)s less work")
        said.append(form % {"size": amount(abs(more))})
    if abs(there) >= _LEAST_DIFFERENCE:
        form = _("%(size)s more capacity") if there > 0 else _("%(size)s less capacity")
        said.append(form % {"size": amount(abs(there))})
    return _("In all: %(what)s.") % {"what": ", ".join(said)}


def reckoned(known: Facts) -> list[str]:
    """What the figures rest on, and what they leave out."""
    rows, urgent, way = known.rows, known.urgent, known.way
    said = []
    if urgent.held is None:
        said.append(
            _("Held free for what is urgent: %(share)s %% of the time, an assumption; %(n)d urgent visits in "
              "%(weeks)d whole weeks on record are too few to tell.")
            % {"share": f"{ASSUMED_HELD_SHARE * 100:g}", "n": urgent.visits, "weeks": urgent.weeks}
        )  # fmt: skip
    else:
        said.append(
            _("Held free for what is urgent: %(held)s a week, enough in nine weeks of ten; the mean of "
              "%(weeks)d weeks is %(mean)s.")
            % {"held": amount(urgent.held), "weeks": urgent.weeks, "mean": amount(urgent.mean or 0.0)}
        )  # fmt: skip
    said.append(
        _("Driving a trip: %(n)s minutes, the median of %(seen)d ways on record.")
        % {"n": round(way.minutes), "seen": way.seen}
        if way.seen
        else _("Driving a trip: %(n)s minutes, an assumption, as too few ways are on record.")
        % {"n": round(way.minutes)}
    )
    said.append(
        _("Of the filters that households change, %(share)s %% end with a technician by the record.")
        % {"share": f"{rows.share * 100:.0f}"}
        if rows.share
        else _("Filters that households change count as no work.")
    )
    if len(rows.branches.names) > 1:
        said.append(_("Branches do not help each other: whoever belongs to one does its work alone."))
    if known.urgent.held is not None:
        said.append(_("Urgent visits that are booked already have their hours beside what is held free."))
    if known.no_start:
        said.append(
            _("Counted here and planned in no round, as no place to start from is on record: %(names)s.")
            % {"names": ", ".join(known.no_start)}
        )
    unpriced = int(np.isnan(rows.filters.price).sum())
    if 0 < unpriced < len(rows.filters.price):
        said.append(
            ngettext(
                "%(n)d filter has no price on record and is taken at the middle one.",
                "%(n)d filters have no price on record and are taken at the middle one.",
                unpriced,
            )
            % {"n": unpriced}
        )
    if rows.undated:
        said.append(
            ngettext(
                "%(n)d filter has no date and is not in these figures.",
                "%(n)d filters have no date and are not in these figures.",
                rows.undated,
            )
            % {"n": rows.undated}
        )
    if rows.counted_at:
        hour = time_format(timezone.localtime(rows.counted_at), "H:i")
        said.append(_("Shares and counts of the whole record are as of %(hour)s today.") % {"hour": hour})
    return said
