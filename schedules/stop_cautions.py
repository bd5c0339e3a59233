"""What the technician minds at a stop, from the words that the record holds."""

import re
from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext_lazy as _

from equipment.models import FilterSlot
from schedules.models import Visit

# In the order in which they are read out.
_WORDS = (
    (_("attic"), r"attics?|loft"),
    (_("ladder"), r"(?:step)?ladders?|ceiling|attics?"),
    (
        _("combustion appliance"),
        r"combustion|gas|oil|furnaces?|boilers?|burners?|flue|water heater|backdraft\w*",
    ),
    (_("pets"), r"pets?|dogs?|cats?"),
    (_("old insulation"), r"insulation|duct wrap|asbestos|vermiculite"),
)


def cautions_of(visit: Visit) -> list[str]:
    """The dangers of a stop in a few words each; empty where the record names none.

    Reads the site's cautions and pets, and place, access and tasks of the visit's own jobs.
    """
    said = " ".join(_said_of(visit))
    return [
        str(name) for name, words in _WORDS if re.search(rf"(?<!\bno )\b(?:{words})\b", said, re.IGNORECASE)
    ]


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
