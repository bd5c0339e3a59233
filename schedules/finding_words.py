"""Findings in words: what was seen, what it does to the date, what to look at next."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from equipment.models import FilterSlot
from schedules.explain import say_day
from schedules.finding_rows import Finding
from schedules.models import Visit
from shared.units import PRESSURE, show

TITLES = {
    "nothing_left": gettext_lazy("The ducts leave the filter nothing"),
    "size_differs": gettext_lazy("Another size than the slot's"),
    "look_due": gettext_lazy("A filter for a while wants looking at"),
    "loads_fast": gettext_lazy("Full within a month"),
    "fall": gettext_lazy("A change that nobody wrote down?"),
    "jump": gettext_lazy("One reading far too high"),
    "dip": gettext_lazy("One reading far too low"),
    "doubted": gettext_lazy("A reading that is hardly believed"),
    "under_earlier": gettext_lazy("A reading well below an earlier one"),
    "apart": gettext_lazy("Two readings of one visit that differ"),
    "idle_log": gettext_lazy("A log of a fan that runs too little"),
    "above_label": gettext_lazy("Above its label, time and again"),
    "below_label": gettext_lazy("Below its label, time and again"),
    "below_clean": gettext_lazy("A reading below a clean filter's"),
    "hardly_clean": gettext_lazy("A reading somewhat below a clean filter's"),
    "high_new": gettext_lazy("High for a new filter"),
    "beyond_blower": gettext_lazy("A drop beyond the blower"),
    "grille": gettext_lazy("Filter and grille read together?"),
    "log_stopped": gettext_lazy("The fan log has stopped"),
}


@dataclass(frozen=True)
class Said:
    """A finding as pages show it; ``propose_on`` is the day of a change that may be recorded."""

    kind: str
    title: str
    seen: str
    dated: str
    look: str
    present: bool
    on: date | None = None
    propose_on: date | None = None


def say_all(findings: Iterable[Finding], units: str) -> list[Said]:
    """Each finding in words, drops in ``units``; several of one kind in one filter's time are told once."""
    rows = [finding for finding in findings if finding["kind"] in TITLES]
    count = Counter((finding["kind"], finding["present"]) for finding in rows)
    first = {(finding["kind"], finding["present"]): finding for finding in reversed(rows)}
    told = [finding for finding in rows if finding is first[finding["kind"], finding["present"]]]
    return [
        _with_others(say(finding, units), count[finding["kind"], finding["present"]] - 1) for finding in told
    ]


class OnRecord:
    """Filters in use with what does not fit at the present one, those that concern most first; of one
    ``kind``, where it is one. Only those that a slice asks for are read and put into words."""

    def __init__(self, kind: str, units: str) -> None:
        self._kind, self._units = kind, units
        rows = FilterSlot.objects.in_use().filter(plan__finding_count__gt=0)
        if kind in TITLES:
            told = rows.order_by().values_list("pk", "plan__findings")
            rows = rows.filter(pk__in=[pk for pk, findings in told if _of_kind(findings, kind)])
        self._rows = rows.order_by("-plan__finding_count", "system__site__city", "name")

    def __len__(self) -> int:
        """How many filters."""
        return self._count

    def __getitem__(self, which: slice) -> list[tuple[FilterSlot, list[Said]]]:
        """Some of them with their findings."""
        rows = self._rows.select_related("system__site__customer", "plan")[which]
        return [(slot, _present(slot, self._kind, self._units)) for slot in rows]

    @cached_property
    def _count(self) -> int:
        return self._rows.count()


def _of_kind(findings: Iterable[Finding], kind: str) -> bool:
    return any(row["present"] and row["kind"] == kind for row in findings)


def _present(slot: FilterSlot, kind: str, units: str) -> list[Said]:
    present = [row for row in slot.plan.findings if row["present"]]
    return say_all([row for row in present if kind not in TITLES or row["kind"] == kind], units)


def _with_others(said: Said, others: int) -> Said:
    if not others:
        return said
    text = ngettext("%(n)s more like it is on record.", "%(n)s more like it are on record.", others)
    return replace(said, seen=f"{said.seen} {text % {'n': others}}")


def say(finding: Finding, units: str) -> Said:
    """One finding in words."""
    kind, began = finding["kind"], _day(finding["began"])
    said = {
        "on": say_day(_day(finding["on"])),
        "until": say_day(_day(finding["until"])),
        "began": say_day(began),
        "seen": show(finding["seen_pa"], PRESSURE, units),
        "beside": show(finding["beside_pa"], PRESSURE, units),
        "count": len(finding["at"]),
    }
    seen, dated, look = (str(text) % said for text in _words()[kind])
    if kind == "fall" and not finding["present"]:
        dated = _("What was read after it in that filter's time is left out of the date.")
    proposed = began if kind == "fall" and finding["present"] else None
    return Said(kind, str(TITLES[kind]), seen, dated, look, finding["present"], _day(finding["on"]), proposed)


def findings_at(visit: Visit, units: str) -> list[tuple[FilterSlot, list[Said]]]:
    """What does not fit at the filters of an open visit, for those where anything is found."""
    if not visit.is_open:
        return []
    slots: list[FilterSlot] = [job.slot for job in visit.jobs.all() if job.slot]
    plans = [(slot, getattr(slot, "plan", None)) for slot in slots]
    told = [(slot, say_all(plan.findings, units)) for slot, plan in plans if plan]
    present = [(slot, [said for said in every if said.present]) for slot, every in told]
    return [(slot, every) for slot, every in present if every]


def _day(iso: str | None) -> date | None:
    return date.fromisoformat(iso) if iso else None


def _words() -> dict[str, tuple[str, str, str]]:
    left_out = _("It is left out of the date.")
    below = _("On %(on)s the drop at design airflow was %(seen)s, where a clean filter has %(beside)s here.")
    beside_it = _("Is the filter in place and seated, does air pass beside it, was the right tap read?")
    allowed_for = _("The date allows for it: dust is told by how the readings rise, not by where they stand.")
    return {
        "look_due": (
            _("Another filter than usual is in there until %(until)s; it was to be looked at by %(on)s."),
            _("The date stands: it comes out on that day at the latest."),
            _("Read the drop. Where it is near its limit, put the usual filter back now."),
        ),
        "nothing_left": (
            _(
                "By the statics on record the ducts leave the filter no more than the %(beside)s that a "
                "clean one takes."
            ),
            _("The clean drop itself counts as the limit, so it is due at once; the household is not told."),
            _(
                "Measure the statics again, filter out and filter in. If they hold, the face is too small or "
                "the filter too fine for this blower."
            ),
        ),
        "size_differs": (
            _("The filter on record is not of this slot's size."),
            _("Its own label and the slot's face are used for the date all the same."),
            _("See which is in there, and whether air passes beside it; then put the record right."),
        ),
        "loads_fast": (
            _("A filter is full here within a month."),
            _("The dates follow what was read."),
            _("A larger or deeper filter would last longer; so would less dust, if its cause is found."),
        ),
        "fall": (
            _(
                "The drop fell from %(seen)s on %(on)s to %(beside)s on %(until)s, and no change is on "
                "record between them. A filter does not clean itself."
            ),
            _("Until somebody knows, the date counts from %(began)s, with an unknown load from before."),
            _(
                "Ask the household when it was changed and for what, and look at the date written on the "
                "frame. Or does air now pass beside it?"
            ),
        ),
        "jump": (
            _(
                "On %(on)s the meter showed %(seen)s where about %(beside)s would fit, and it was lower "
                "again later without a change."
            ),
            left_out,
            _("Zero the meter, check the taps and the fan's speed, and read again."),
        ),
        "dip": (
            _(
                "On %(on)s the meter showed %(seen)s where about %(beside)s would fit what was read "
                "before or after."
            ),
            left_out,
            _("Was the fan at its design speed, and the filter seated? Read again."),
        ),
        "doubted": (
            _(
                "On %(on)s the meter showed %(seen)s where about %(beside)s would fit all else that is known "
                "of this filter."
            ),
            _(
                "A slip of the meter or another dust than usual: the date moves part of the way at most, and "
                "its span grows."
            ),
            _("Read again soon, meter zeroed and taps checked: more readings like it are believed."),
        ),
        "apart": (
            _(
                "On %(on)s the meter showed %(seen)s where hours before it had shown %(beside)s, and no "
                "filter loads or empties so fast."
            ),
            _("The date leans on the one that fits what else is known, and its span is wide."),
            _(
                "Was a fresh filter put in between the two? Then write the change down. Or was the fan at "
                "another speed, the meter not zeroed, the door open? Read again, twice."
            ),
        ),
        "under_earlier": (
            _(
                "On %(on)s the meter showed %(seen)s where those before it lay about %(beside)s, and no "
                "filter empties by itself; yet nothing explains it clearly better than the meter's scatter."
            ),
            _("The date takes all for readings of one filter."),
            _(
                "Was a fresh filter put in since those? Then write the change down. Otherwise read again, "
                "meter zeroed."
            ),
        ),
        "idle_log": (
            _(
                "By its log the fan of this system ran little before %(on)s, and yet where a clean filter "
                "has %(beside)s the meter showed %(seen)s on that day."
            ),
            _(
                "The log counts in part only, the less the more readings contradict it; the other hours are "
                "expected from the weather."
            ),
            _(
                "See whether the logger counts this fan at all, and whether its sheet is in hours. Read "
                "again, meter zeroed."
            ),
        ),
        "above_label": (
            _(
                "Reading after reading lies well above what label and airflow on record explain: "
                "%(seen)s on %(on)s, where %(beside)s would fit."
            ),
            allowed_for,
            _(
                "Measure the airflow through this filter; compare the medium fitted with that on record."
            ),
        ),
        "below_label": (
            _(
                "Reading after reading lies well below what label and airflow on record explain: "
                "%(seen)s on %(on)s, where %(beside)s would fit."
            ),
            allowed_for,
            _(
                "Measure the airflow through this filter. Does air pass beside it? Is the medium the one "
                "on record?"
            ),
        ),
        "below_clean": (below, left_out, beside_it),
        "hardly_clean": (below, _("It counts in part only."), beside_it),
        "high_new": (
            _(
                "On %(on)s the new filter's drop was %(seen)s at design airflow, where its label says "
                "%(beside)s and no dust has loaded it yet."
            ),
            _(
                "The date takes the label's word for the filter and this for more airflow than is on record. "
                "If the filter itself holds back so much, it is due sooner."
            ),
            _(
                "Measure the airflow, see that only the filter lies between the taps, and compare the medium "
                "fitted with the one on record."
            ),
        ),
        "beyond_blower": (
            _("On %(on)s the meter showed %(seen)s, but %(beside)s is the most that this blower draws."),
            left_out,
            _("Check unit and decimal point, then zero the meter; is the blower's table on record right?"),
        ),
        "grille": (
            _(
                "Readings stand about as far above the clean filter's %(beside)s at every visit, fresh "
                "filter or not: %(seen)s in the middle of %(count)s, the last on %(on)s."
            ),
            _("These readings are left out of the date."),
            _(
                "Put one tap before and one behind the filter, inside the grille: its drop and the duct's do "
                "not belong to the filter."
            ),
        ),
        "log_stopped": (
            _("Fan hours came until %(on)s and none since."),
            _("The hours since then are expected from the weather, so the span widens."),
            _("See whether the logger has power and a connection, or whether a sheet was forgotten."),
        ),
    }  # fmt: skip
