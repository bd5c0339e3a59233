"""Writes by program as a table: what each does, what it refuses, and who may not."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from equipment.models import FilterSlot, Site, User
from schedules.models import Technician
from servicedesk.access import Who


@dataclass(frozen=True)
class Record:
    """What every write finds on record: a home with its filter, its people and the desk's."""

    slot: FilterSlot
    home: Site
    technician: Technician
    manager: User
    homeowner: User


Body = dict[str, Any]


@dataclass(frozen=True)
class Write:
    """A write of the row ``name``: ``begin`` puts on record what it is about and gives the address; ``told``
    is done, ``refused`` is not, nor is ``told`` once it was spoilt; ``effect`` reads what came of it."""

    name: str
    begin: Callable[[Record], str]
    effect: Callable[[], object]
    after: object
    told: Body | Callable[[Record], Body] = field(default_factory=dict)
    refused: Body | None = None
    spoil: Callable[[], object] | None = None
    who: Who = Who.MANAGER
    shut: Who = Who.HOMEOWNER
    # What is asked of the answer, beyond that it is one.
    answer: Callable[[Any], bool] = lambda _told: True

    def body(self, record: Record) -> Body:
        """What is sent."""
        return self.told(record) if callable(self.told) else self.told
