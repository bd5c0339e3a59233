"""What the technician minds at a stop, from the words that the record holds."""

import re
from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext_lazy as _

from equipment.models import FilterSlot
from schedules.models import Visit
from shared.units import LENGTH, show

# In the order in which they are read out; Spanish as well, as households and technicians write it.
_WORDS = (
    (_("attic"), r"attics?|loft|[áa]tico|desv[áa]n"),
    (_("ladder"), r"(?:step)?ladders?|ceiling|attics?|escaleras?|techo"),
    (
        _("combustion appliance"),
        r"combustion|gas|propane|oil|(?<!electric )furnaces?|boilers?|burners?|flue|"
        r"(?<!electric )water heater|"
        r"wood ?stove|fireplace|backdraft\w*|caldera|quemador(?:es)?|propano",
    ),
    (_("pets"), r"pets?|dogs?|cats?|perr[oa]s?|gat[oa]s?|mascotas?"),
    (_("old insulation"), r"(?:old|loose|damaged|viejo) (?:duct )?(?:insulation|wrap|aislamiento)|duct wrap|"
                          r"asbestos|amianto|vermiculite|vermiculita"),
)  # fmt: skip
# Up to here a grown person's hands come without a ladder, in m. Own bound.
REACHED_FROM_FLOOR_M = 2.0
# What is not there: the word after it, and those joined to that by "or" and "and".
_NONE = (
    r"\b(?:no|not|never|without|sin)\b(?: any)? \w+(?: (?:or|and|y|o|ni) \w+)*"
    r"|\b\w+-free\b"
)
_HEIGHT = re.compile(
    r"(\d+(?:[.,]\d+)?)[ -]?(ft|feet|foot|m|metres?|meters?)\b(?= [\w ]*?(?:ladder|ceiling|high))", re.I
)


def cautions_of(visit: Visit, units: str = "ip") -> list[str]:
    """The dangers of a stop in a few words each; empty where the record names none.

    Reads the site's cautions and pets, and place, height, access and tasks of the visit's own jobs; what a
    note says is not there is no danger. The greatest height on record is told with the ladder, else one that
    stands beside ladder or ceiling as it was written.
    """
    told = " ".join(_said_of(visit))
    said = re.sub(_NONE, " ", told, flags=re.IGNORECASE)
    found = {str(name): re.search(rf"\b(?:{words})\b", said, re.IGNORECASE) for name, words in _WORDS}
    high, written = _highest(visit), _HEIGHT.search(told)
    height = show(high, LENGTH, units) if high else f"{written[1]} {written[2]}" if written else ""
    ladder = str(_("ladder"))
    there = [name for name in found if found[name] or (name == ladder and high > REACHED_FROM_FLOOR_M)]
    return [f"{name} {height}".strip() if name == ladder else name for name in there]


def _highest(visit: Visit) -> float:
    """The greatest height of the visit's filters above the floor in m; nought for none on record."""
    return max((job.slot.height_m or 0.0 for job in visit.jobs.all() if job.slot), default=0.0)


def _said_of(visit: Visit) -> Iterable[str]:
    yield visit.site.cautions
    if visit.site.pets:
        yield "pets"
    for job in visit.jobs.all():
        if job.slot:
            yield from (job.slot.location, job.slot.access_notes)
        if job.task:
            yield from (job.task.name, job.task.skill)


def access_notes_of(visit: Visit, today: date, *, reads_all: bool) -> list[str]:
    """How to get to the visit's filters, each note once: on the visit's own day while it is open, at any
    time for whoever ``reads_all``."""
    if not (reads_all or (visit.is_open and visit.day == today)):
        return []
    slots: list[FilterSlot] = [job.slot for job in visit.jobs.all() if job.slot]
    return list(dict.fromkeys(slot.access_notes for slot in slots if slot.access_notes))
