"""What is not right at a home: noted at the visit, with what corrects it, until the desk settles it.

The corrections are the trade's usual ones; electrical, combustion and refrigerant work and old insulation
are left to licensed people, and local code rules.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Case, QuerySet, When
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.models import User
from schedules.models import Defect, Visit

Kind = Defect.Kind
_LICENSED = (Kind.FLUE, Kind.WIRING, Kind.ICE, Kind.OIL, Kind.OLD_INSULATION)
# Whoever lives there is told before the technician leaves.
_AT_ONCE = (Kind.FLUE, Kind.WIRING)

_CORRECTIONS: dict[str, Promise | str] = {
    Kind.FLUE: gettext_lazy(
        "Leave the appliance off. Where gas is smelt or a carbon monoxide alarm sounds, everybody goes "
        "outside and rings the gas supplier or the fire service."
    ),
    Kind.WIRING: gettext_lazy("Leave it switched off at the breaker and touch nothing there."),
    Kind.ICE: gettext_lazy(
        "Turn cooling off and let the fan thaw it; do not run it iced. Look at filter, coil and airflow "
        "first: too little air is a usual cause. If it ices again, the circuit has to be tested."
    ),
    Kind.OIL: gettext_lazy("The circuit may leak: leave it closed and have it tested."),
    Kind.OLD_INSULATION: gettext_lazy("Leave it alone, it may hold asbestos: have it tested first."),
    Kind.UNSAFE_WAY: gettext_lazy("Make hatch, boards or floor sound before anybody goes there again."),
    Kind.WATER: gettext_lazy("Clear the drain, and look at pan, trap and float switch."),
    Kind.MOULD: gettext_lazy("Find where the water comes from and stop it, then clean what is hard and dry."),
    Kind.DIRTY_COIL: gettext_lazy(
        "Clean coil and wheel, and find out how dust got past the filter; the statics were read with the "
        "dirt in."
    ),
    Kind.RETURN_LEAK: gettext_lazy("Seal the joints with mastic or listed tape, and read the statics again."),
    Kind.AIR_BESIDE: gettext_lazy("Seat the filter, and close the gap with a gasket or a spacer."),
    Kind.FRAME: gettext_lazy("Straighten the rack or put in another, so that the filter sits tight."),
    Kind.WRONG_SIZE: gettext_lazy("Fit the size on the tag; if the slot is another, put the record right."),
    Kind.BLOCKED: gettext_lazy("Keep furniture, curtains and boxes away from the grille."),
    Kind.OTHER: "",
}


@dataclass(frozen=True)
class Advice:
    """A kind of defect in words: what was seen, what corrects it, who may, whether it cannot wait."""

    kind: str
    title: str
    correction: str
    licensed: bool
    at_once: bool


def advice_on(kind: str) -> Advice:
    """The words for one kind, in the language of the moment."""
    licensed = kind in _LICENSED
    said = [str(_CORRECTIONS[kind])]
    if licensed:
        said.append(_("This is work for a licensed firm; local code rules."))
    return Advice(kind, str(Kind(kind).label), " ".join(filter(None, said)), licensed, kind in _AT_ONCE)


def note(visit: Visit, kinds: Iterable[str], at: datetime, user: User | None) -> list[Defect]:
    """Write down what was seen at a visit; words alone count as something else. What is open there already
    is not opened a second time."""
    seen = list(dict.fromkeys(kinds)) or ([Kind.OTHER.value] if visit.findings.strip() else [])
    open_kinds = Defect.objects.filter(site=visit.site_id, settled_at=None).exclude(kind=Kind.OTHER)
    known = set(open_kinds.values_list("kind", flat=True))
    rows = [
        Defect(visit=visit, site_id=visit.site_id, kind=kind, seen_at=at, seen_by=user)
        for kind in seen
        if kind in Kind.values and kind not in known
    ]
    return Defect.objects.bulk_create(rows, ignore_conflicts=True)


def note_pressing(visit: Visit, kinds: Iterable[str], at: datetime, user: User | None) -> None:
    """Write down what cannot wait, whatever becomes of the rest of what was told."""
    pressing = [kind for kind in kinds if kind in _AT_ONCE]
    if pressing:
        note(visit, pressing, at, user)


def open_at(sites: Iterable[int]) -> dict[int, list[Defect]]:
    """What is still open at each site, by its key, the most pressing first; one query."""
    rows = Defect.objects.filter(site__in=list(sites), settled_at=None).select_related("visit")
    found: dict[int, list[Defect]] = {}
    for row in sorted(rows, key=_pressing):
        found.setdefault(row.site_id, []).append(row)
    return found


def standing() -> QuerySet[Defect]:
    """What is open anywhere, the most pressing first."""
    rank = Case(*(When(kind=kind, then=place) for place, kind in enumerate(Kind.values)), default=99)
    rows = Defect.objects.filter(settled_at=None).select_related("visit", "site__customer", "seen_by")
    return rows.order_by(rank, "seen_at", "pk")


def all_open(at_most: int) -> list[tuple[Defect, Advice]]:
    """What is open anywhere with its words, the most pressing first; one query."""
    return [(row, advice_on(row.kind)) for row in standing()[:at_most]]


def how_many_open() -> int:
    """How many defects nobody has settled."""
    return Defect.objects.filter(settled_at=None).count()


def of_visit(visit: Visit) -> list[tuple[Defect, Advice]]:
    """What was seen at one visit, settled or not."""
    rows = sorted(Defect.objects.filter(visit=visit).select_related("settled_by"), key=_pressing)
    return [(row, advice_on(row.kind)) for row in rows]


def _pressing(row: Defect) -> tuple[int, datetime]:
    return Kind.values.index(row.kind), row.seen_at


def settle(row: Defect, how: str, user: User, now: datetime) -> None:
    """It was corrected, or needs no correction; told again, the first time stands."""
    Defect.objects.filter(pk=row.pk, settled_at=None).update(
        settled_at=now, settled_by=user, settled_how=how.replace("\0", "")[:300]
    )
