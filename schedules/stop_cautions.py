"""What the technician minds at a stop, from the words that the record holds."""

import re
from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext_lazy as _

from equipment.models import FilterSlot
from schedules.models import Visit

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
# What is not there: the word after it, and those joined to that by "or" and "and".
_NONE = (
    r"\b(?:no|not|never|without|sin)\b(?: any)? \w+(?: (?:or|and|y|o|ni) \w+)*"
    r"|\b\w+-free\b"
)
_HEIGHT = re.compile(
    r"(\d+(?:[.,]\d+)?)[ -]?(ft|feet|foot|m|metres?|meters?)\b(?= [\w ]*?(?:ladder|ceiling|high))", re.I
)


def cautions_of(visit: Visit) -> list[str]:
    """The dangers of a stop in a few words each; empty where the record names none.

    Reads the site's cautions and pets, and place, access and tasks of the visit's own jobs; what a note says
    is not there is no danger. A height beside ladder or ceiling is told as it was written.
    """
    told = " ".join(_said_of(visit))
    said = re.sub(_NONE, " ", told, flags=re.IGNORECASE)
    found = {str(name): re.search(rf"\b(?:{words})\b", said, re.IGNORECASE) for name, words in _WORDS}
    height = _HEIGHT.search(told)
    return [_with_height(name, height) for name, there in found.items() if there]


def _with_height(name: str, height: re.Match[str] | None) -> str:
    return f"{name} {height[1]} {height[2]}" if height and name == str(_("ladder")) else name


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
