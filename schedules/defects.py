"""What is not right at a home: noted at the visit, with what corrects it, until the desk settles it.

The corrections are the trade's usual ones; electrical, combustion and refrigerant work and old insulation
are left to licensed people, and local code rules.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from equipment.models import User
from schedules.models import Defect, Visit

Kind = Defect.Kind
_LICENSED = (Kind.FLUE, Kind.WIRING, Kind.REFRIGERANT, Kind.OLD_INSULATION)
# Whoever lives there is told before the technician leaves.
_AT_ONCE = (Kind.FLUE, Kind.WIRING)

_CORRECTIONS: dict[str, Promise | str] = {
    Kind.FLUE: gettext_lazy(
        "Leave the appliance off. Where gas is smelt or a carbon monoxide alarm sounds, everybody goes "
        "outside and rings the gas supplier or the fire service."
    ),
    Kind.WIRING: gettext_lazy("Leave it switched off at the breaker and touch nothing there."),
    Kind.REFRIGERANT: gettext_lazy("The circuit may leak: have it tested before the next cooling season."),
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
    """Write down what was seen at a visit; words alone count as something else. Each kind once a visit."""
    seen = list(dict.fromkeys(kinds)) or ([Kind.OTHER.value] if visit.findings.strip() else [])
    rows = [
        Defect(visit=visit, site_id=visit.site_id, kind=kind, seen_at=at, seen_by=user)
        for kind in seen
        if kind in Kind.values
    ]
    return Defect.objects.bulk_create(rows, ignore_conflicts=True)


def open_at(sites: Iterable[int]) -> dict[int, list[Defect]]:
    """What is still open at each site, by its key, the most pressing first; one query."""
    rows = Defect.objects.filter(site__in=list(sites), settled_at=None).select_related("visit")
    found: dict[int, list[Defect]] = {}
    for row in sorted(rows, key=_pressing):
        found.setdefault(row.site_id, []).append(row)
    return found


def _pressing(row: Defect) -> tuple[int, datetime]:
    return Kind.values.index(row.kind), row.seen_at


def settle(row: Defect, how: str, user: User, now: datetime) -> None:
    """It was corrected, or needs no correction; told again, the first time stands."""
    Defect.objects.filter(pk=row.pk, settled_at=None).update(
        settled_at=now, settled_by=user, settled_how=how.replace("\0", "")[:300]
    )
