"""What is said of one part of a set-up."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from functools import wraps


class How(Enum):
    """How a part is: fine, worth a look, or in the way."""

    WELL = "well"
    LOOK = "look at it"
    WRONG = "wrong"


@dataclass(frozen=True)
class Finding:
    """The part, how it is, and in a sentence what is the case or what to do. It holds no secret."""

    what: str
    how: How
    said: str

    def __str__(self) -> str:
        return f"{self.how.value:<10}  {self.what}: {self.said}"


def well(what: str, said: str) -> Finding:
    """Fine."""
    return Finding(what, How.WELL, said)


def look(what: str, said: str) -> Finding:
    """Worth a look."""
    return Finding(what, How.LOOK, said)


def wrong(what: str, said: str) -> Finding:
    """In the way."""
    return Finding(what, How.WRONG, said)


Part = Callable[[datetime], Iterator[Finding]]


def goes_on(part: Part) -> Part:
    """The part, which ends with a finding where a look at it fails, so that the next is still looked at."""

    @wraps(part)
    def looked(now: datetime) -> Iterator[Finding]:
        try:
            yield from part(now)
        except Exception as error:  # its words may hold an address or a password
            yield wrong("Doctor", f"could not look any further here ({type(error).__name__}).")

    return looked
