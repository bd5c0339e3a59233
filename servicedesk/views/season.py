"""The season: the coming weeks' work against capacity, and what would be if."""

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from schedules import season_words as words
from schedules.planning.arrays import FloatArray
from schedules.season import Facts, Narrow, Outlook, Season, facts, outlook, season
from schedules.season_fit import LEAST_MINUTES
from schedules.season_form import SeasonForm
from shared import season_strip as strips

# So many skills stand side by side; any other can be chosen.
MOST_SKILLS_SHOWN = 12


def page(request: HttpRequest) -> HttpResponse:
    """The season as it stands, and beside it as it would be; nothing is stored, whatever is asked."""
    known = facts(timezone.now())
    form = SeasonForm(known, request.GET)
    form.is_valid()
    count, narrow, what_if = form.count(), form.narrow(), form.what_if()
    ahead, ahead_then = outlook(known, count), None
    now, then = season(known, ahead, narrow), None
    if what_if.anything:
        ahead_then = outlook(known, count, what_if)
        then = season(known, ahead_then, narrow)
    context = {
        "form": form,
        "title": _title(known, now, narrow),
        "full": words.full(known, now),
        "may_run_over": words.may_run_over(now),
        "nobody_has": words.nobody_has(known, now),
        "overbooked": words.overbooked(known, now),
        "reserve_taken": words.reserve_taken(now),
        "with_room": words.with_room(now),
        "rows": _rows(now, then),
        "people": _people(known, now, then, narrow),
        "branches": _beside(_branches, known, ahead, ahead_then, narrow),
        "skills": _beside(_skills, known, ahead, ahead_then, narrow),
        "any_left": bool(now.behind.any() or (then is not None and then.behind.any())),
        "one_skill": narrow.skill,
        "reckoned": words.reckoned(known),
        **_drawings(now, then),
    }
    if then is not None:
        context |= {
            "supposed": words.supposed(known, what_if),
            "differences": words.differences(now, then),
            "full_then": words.full(known, then),
            "title_then": _title(known, then, narrow),
            "not_supposed": words.not_supposed(known, what_if),
            "may_run_over_then": words.may_run_over(then),
            "with_room_then": words.with_room(then),
            "nobody_has_then": [
                line for line in words.nobody_has(known, then) if line not in context["nobody_has"]
            ],
        }
    return render(request, "servicedesk/season.html", context)


def _title(known: Facts, one: Season, narrow: Narrow) -> str:
    return words.title_of_skill(known, one, narrow.skill) if narrow.skill else words.title(one)


def _drawings(now: Season, then: Season | None) -> dict[str, Any]:
    both = [_bars(one) for one in (now, then) if one is not None]
    if not any(bar.load or bar.capacity for bars in both for bar in bars):
        return {"strips": [], "strips_then": [], "nothing_drawn": True}
    top = max(strips.top_of(bars) for bars in both)
    sizes = (strips.HALF if then else strips.WIDE, strips.NARROW)
    drawn = [
        [_strip(one, bars, top, size) for size in sizes] for one, bars in zip((now, then), both, strict=False)
    ]
    return {"strips": drawn[0], "strips_then": drawn[1] if then else []}


def _bars(one: Season) -> list[strips.WeekBar]:
    return [
        strips.WeekBar(
            _short(day),
            one.booked[at] / 60,
            one.expected[at] / 60,
            one.low[at] / 60,
            one.high[at] / 60,
            one.usable[at] / 60,
            one.short[at] / 60 if one.over[at] else 0.0,
        )
        for at, day in enumerate(one.first_days)
    ]


def _short(day: date) -> str:
    return formats.date_format(day, _("j M"))


def _strip(one: Season | None, bars: list[strips.WeekBar], top: float, size: Any) -> str:
    if one is None:
        return ""
    beyond = _("capacity %(hours)s h, far above") % {"hours": words.hours(float(np.median(one.usable)))}
    described = _("Hours of booked and expected work by week, with the span of eight chances in ten, against "
                  "the hours that technicians have.")  # fmt: skip
    return strips.season_strip(words.title(one), described, bars, _("hours"), beyond, top, size)


def _rows(now: Season, then: Season | None) -> list[dict[str, Any]]:
    rows = []
    for at, day in enumerate(now.first_days):
        row = {"day": day, "short_day": _short(day), **_figures(now, at)}
        if then is not None:
            row["then"] = _figures(then, at)
            row["more"] = _signed(float(then.load[at] - now.load[at]))
        rows.append(row)
    return rows


def _figures(one: Season, at: int) -> dict[str, Any]:
    return {
        "booked": words.hours(one.booked[at]),
        "expected": words.hours(one.expected[at]),
        "load": words.hours(one.load[at]),
        "span": f"{words.hours(one.low[at])}–{words.hours(one.high[at])}",
        "gross": words.hours(one.gross[at]),
        "reserve": words.hours(one.reserve[at]),
        "usable": words.hours(one.usable[at]),
        "elsewhere": words.hours(one.elsewhere[at]),
        "left": words.hours(one.left[at]),
        "jobs": formats.number_format(round(float(one.jobs[at]), 1), 1),
        "trips": formats.number_format(round(float(one.trips[at]), 1), 1),
        "chance": f"{one.chance[at] * 100:.0f} %",
        "tight": _tight(one, at),
        "over": bool(one.over[at]),
        "word": _word(one, at),
    }


def _tight(one: Season, at: int) -> str:
    if one.load[at] < 1.0 or not one.usable[at]:
        return ""
    if not np.isfinite(one.fullest[at]):
        return _("whoever can is away: %(skills)s") % {"skills": ", ".join(one.tight[at]) or _("all")}
    return _("%(skills)s %(share)s %%") % {
        "skills": ", ".join(one.tight[at]) or _("all"),
        "share": f"{one.fullest[at] * 100:.0f}",
    }


def _word(one: Season, at: int) -> str:
    if not one.usable[at]:
        if one.elsewhere[at]:
            return _("other work takes them")
        return _("all held free") if one.gross[at] else _("nobody works")
    if one.over[at]:
        return _("too full")
    if one.behind[at]:
        return _behind(one, at)
    if one.roomy[at]:
        return _("room")
    return _("may run over") if one.may_run_over[at] else _("fits")


def _behind(one: Season, at: int) -> str:
    """Whether what is left grows, shrinks or waits; after the last week by what there is time for."""
    after = one.left[at] + one.load[at] - one.undoable[at] - one.usable[at]
    more = one.left[at + 1] - one.left[at] if at + 1 < len(one.left) else after
    if more > LEAST_MINUTES:
        return _("too full with what is left")
    return _("works off what is left") if more < -LEAST_MINUTES else _("what is left waits")


def _signed(minutes: float) -> str:
    said = words.hours(abs(minutes))
    return "0" if said in ("0", "0.0") else f"{'+' if minutes > 0 else '−'}{said}"


def _people(known: Facts, one: Season, then: Season | None, narrow: Narrow) -> list[dict[str, Any]]:
    """Each technician's hours of these weeks, in all and by week, and what is booked of them."""
    names = known.rows.branches.names
    return [
        {
            "name": who.name,
            "branch": names[known.team.branch[row]],
            "skills": ", ".join(who.skills),
            "hours": words.hours(_sum(one.people[row])),
            "hours_then": "" if then is None else words.hours(_sum(then.people[row])),
            "booked": words.hours(_sum(one.people_booked[row])),
            "weeks": [words.hours(minutes) for minutes in one.people[row]],
        }
        for row, who in enumerate(known.team.people)
        if narrow.branch in (None, known.team.branch[row])
        and (not narrow.skill or narrow.skill in who.skills)
    ]


def _beside(
    parts: Callable[[Facts, Outlook, Narrow], list[dict[str, Any]]],
    known: Facts,
    now: Outlook,
    then: Outlook | None,
    narrow: Narrow,
) -> list[dict[str, Any]]:
    """The parts as they stand, each with itself as supposed where something is."""
    rows = parts(known, now, narrow)
    if then is not None:
        for row, supposed in zip(rows, parts(known, then, narrow), strict=True):
            row["then"] = supposed
    return rows


def _branches(known: Facts, ahead: Outlook, narrow: Narrow) -> list[dict[str, Any]]:
    """Each branch by itself where there are several and none is chosen; they sum to all."""
    names = known.rows.branches.names
    if len(names) < 2 or narrow.branch is not None:
        return []
    return [_part(known, ahead, name, Narrow(at, narrow.skill)) for at, name in enumerate(names)]


def _skills(known: Facts, ahead: Outlook, narrow: Narrow) -> list[dict[str, Any]]:
    """Each skill by itself; a trip that needs two counts in both."""
    skills = [] if narrow.skill else known.rows.skills[:MOST_SKILLS_SHOWN]
    rows = [_part(known, ahead, name, Narrow(narrow.branch, name)) for name in skills]
    for row in rows:
        if not any(row["name"] in who.skills for who in known.team.people):
            row |= {"usable": _("nobody has it"), "over": "–"}
    return rows


def _part(known: Facts, ahead: Outlook, name: str, narrow: Narrow) -> dict[str, Any]:
    one = season(known, ahead, narrow, moves=False)
    return {
        "name": name,
        "load": words.hours(_sum(one.load)),
        "usable": words.hours(_sum(one.usable)),
        "over": int(one.over.sum()),
    }


def _sum(minutes: FloatArray) -> float:
    return float(minutes.sum())
