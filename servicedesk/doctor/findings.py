"""What is said of one part of a set-up."""

from dataclasses import dataclass
from enum import Enum


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
