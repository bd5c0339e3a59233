"""Reads the catalogues as they lie in the tree, with what marks a text that households read."""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from django.conf import settings

ROOMS = ("servicedesk", "schedules", "equipment")
HOUSEHOLD = "household"
_PLACES = re.compile(r"%\((\w+)\)([sd])|(%%)")


@dataclass
class Entry:
    """One text: what the code asks for, what is said for it, and its marks."""

    room: str
    said: dict[str, str] = field(default_factory=dict)
    marks: set[str] = field(default_factory=set)

    @property
    def key(self) -> str:
        """As a compiled catalogue calls it."""
        context = f"{self.said['msgctxt']}\x04" if "msgctxt" in self.said else ""
        return context + self.said["msgid"]

    @property
    def asked(self) -> list[str]:
        return [self.said[name] for name in ("msgid", "msgid_plural") if name in self.said]

    @property
    def answers(self) -> list[str]:
        return [text for name, text in self.said.items() if name.startswith("msgstr")]

    @property
    def for_households(self) -> bool:
        return HOUSEHOLD in self.marks


def path_of(room: str, kind: str) -> Path:
    return Path(settings.BASE_DIR) / room / "locale" / "es" / "LC_MESSAGES" / f"django.{kind}"


def entries(room: str) -> Iterator[Entry]:
    """Every text of the room's catalogue but its head."""
    for block in path_of(room, "po").read_text("utf-8").split("\n\n"):
        entry, name = Entry(room), ""
        for line in block.splitlines():
            if line.startswith("#, "):
                entry.marks |= set(line[3:].split(", "))
            elif line.startswith("# "):
                entry.marks.add(line[2:].strip())
            elif not line.startswith("#"):
                if line.startswith("msg"):
                    name, line = line.split(" ", 1)
                entry.said[name] = entry.said.get(name, "") + ast.literal_eval(line)
        if entry.said.get("msgid"):
            yield entry


def every_entry() -> list[Entry]:
    return [entry for room in ROOMS for entry in entries(room)]


def places(text: str) -> set[str]:
    """The places that a text leaves open, and whether it writes a percent sign."""
    return {match[0] for match in _PLACES.finditer(text)}
