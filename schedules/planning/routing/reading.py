"""From the JSON of a routing problem to a Problem, or to the whole list of its faults."""

from collections.abc import Iterator
from typing import Any, TypeVar

from schedules.planning.routing.problem import Matrix, Problem, Stop, Technician, Window, merged

# Seconds, metres and loads beyond this are slips, and would strain the solver's 64-bit sums.
LARGEST = 10**12

_Named = TypeVar("_Named", Technician, Stop)
_TOP = {"technicians", "stops", "travel_s", "travel_m"}
_TECHNICIAN = {"id", "node", "shift", "skills", "van"}
_STOP = {"id", "node", "service_s", "windows", "skills", "load", "must", "worth"}


class ProblemFaults(ValueError):
    """Every fault found in a routing problem, each a plain sentence that names its place."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


def problem_from_json(data: object) -> Problem:
    """A Problem from decoded JSON, as the fixed file format lays it down.

    Raises ProblemFaults with every fault, not only the first. Unknown keys are no fault: Problem.ignored
    names them. An optional key that is null counts as left out; 600.0 is a whole number, 600.5 and true
    are not. Seconds, metres and loads reach to 10^12, a worth has no limit.
    """
    reader = _Reader()
    problem = reader.problem(data)
    if reader.faults:
        raise ProblemFaults(reader.faults)
    return problem


class _Reader:
    """Reads on after a fault, with a harmless value in its place, so that all faults are found at once."""

    def __init__(self) -> None:
        self.faults: list[str] = []
        self.ignored: list[str] = []
        self.nodes: int | None = None

    def fault(self, place: str, words: str) -> None:
        self.faults.append(f"{place}: {words}")

    def problem(self, data: object) -> Problem:
        top = self.keyed(data, "the problem", _TOP, required=sorted(_TOP))
        travel_s = self.matrix(top.get("travel_s"), "travel_s") if "travel_s" in top else ()
        self.nodes = len(travel_s) if travel_s is not None and "travel_s" in top else None
        travel_m = self.matrix(top.get("travel_m"), "travel_m") if "travel_m" in top else ()
        if (
            None not in (travel_s, travel_m)
            and set(top) >= _TOP
            and len(travel_s or ()) != len(travel_m or ())
        ):
            self.fault("travel_m", f"has {len(travel_m or ())} rows where travel_s has {len(travel_s or ())}")
        technicians = self.entries(top.get("technicians", []), "technicians")
        stops = self.entries(top.get("stops", []), "stops")
        return Problem(
            self.unique([self.technician(*entry) for entry in technicians], "technicians"),
            self.unique([self.stop(*entry) for entry in stops], "stops"),
            travel_s or (),
            travel_m or (),
            tuple(self.ignored),
        )

    def technician(self, data: object, place: str) -> Technician:
        keys = self.keyed(data, place, _TECHNICIAN, required=["id", "node", "shift"])
        van = keys.get("van")
        return Technician(
            id=self.name(keys, place),
            node=self.node(keys, place),
            shift=self.span(keys["shift"], f"{place}.shift") if "shift" in keys else (0, 0),
            skills=self.skills(keys, place),
            van=None if van is None else self.whole(van, f"{place}.van"),
        )

    def stop(self, data: object, place: str) -> Stop:
        keys = self.keyed(data, place, _STOP, required=["id", "node", "service_s"])
        return Stop(
            id=self.name(keys, place),
            node=self.node(keys, place),
            service_s=self.whole(keys["service_s"], f"{place}.service_s") if "service_s" in keys else 0,
            windows=self.windows(keys, place),
            skills=self.skills(keys, place),
            load=self.whole(_given(keys, "load", 0), f"{place}.load"),
            must=self.truth(_given(keys, "must", True), f"{place}.must"),
            worth=self.whole(_given(keys, "worth", 0), f"{place}.worth", largest=None),
        )

    def keyed(self, data: object, place: str, known: set[str], required: list[str]) -> dict[str, Any]:
        if not isinstance(data, dict):
            self.fault(place, f"must be an object with keys, not {_kind(data)}")
            return {}
        for key in required:
            if key not in data:
                self.fault(place, f"{key} is missing")
        self.ignored += [f"{place}: {key}" for key in data if key not in known]
        return data

    def entries(self, data: object, place: str) -> Iterator[tuple[object, str]]:
        if not isinstance(data, list):
            self.fault(place, f"must be a list, not {_kind(data)}")
            return
        for index, entry in enumerate(data):
            name = entry.get("id") if isinstance(entry, dict) else None
            yield entry, f"{place}[{index}]" + (f" ({name})" if isinstance(name, str) and name else "")

    def unique(self, found: list[_Named], place: str) -> tuple[_Named, ...]:
        first: dict[str, int] = {}
        for index, entry in enumerate(found):
            if entry.id and first.setdefault(entry.id, index) != index:
                self.fault(
                    f"{place}[{index}] ({entry.id})", f"id stands already at {place}[{first[entry.id]}]"
                )
        return tuple(found)

    def name(self, keys: dict[str, Any], place: str) -> str:
        value = keys.get("id")
        if isinstance(value, str) and value:
            return value
        if "id" in keys:
            self.fault(f"{place}.id", f"must be a text that is not empty, not {_kind(value)}")
        return ""

    def node(self, keys: dict[str, Any], place: str) -> int:
        if "node" not in keys:
            return 0
        faults = len(self.faults)
        value = self.whole(keys["node"], f"{place}.node")
        if len(self.faults) == faults and self.nodes is not None and value >= self.nodes:
            self.fault(f"{place}.node", f"{value} is no node of travel_s, which has {self.nodes} (from 0)")
        return value

    def windows(self, keys: dict[str, Any], place: str) -> tuple[Window, ...]:
        spans = self.entries(_given(keys, "windows", []), f"{place}.windows")
        return merged([self.span(*span) for span in spans])

    def skills(self, keys: dict[str, Any], place: str) -> frozenset[str]:
        found = set()
        for skill, where in self.entries(_given(keys, "skills", []), f"{place}.skills"):
            if isinstance(skill, str) and skill:
                found.add(skill)
            else:
                self.fault(where, f"must be a text that is not empty, not {_kind(skill)}")
        return frozenset(found)

    def span(self, data: object, place: str) -> Window:
        if not isinstance(data, list) or len(data) != 2:
            self.fault(place, f"must be a list of two whole numbers, not {_kind(data)}")
            return (0, 0)
        faults = len(self.faults)
        start, end = (self.whole(value, f"{place}[{index}]") for index, value in enumerate(data))
        if len(self.faults) == faults and end < start:
            self.fault(place, f"ends at {end}, before it starts at {start}")
        return (start, max(start, end))

    def matrix(self, data: object, place: str) -> Matrix | None:
        if not isinstance(data, list):
            self.fault(place, f"must be a list of rows, not {_kind(data)}")
            return None
        return tuple(self.row(row, f"{place}[{index}]", len(data)) for index, row in enumerate(data))

    def row(self, data: object, place: str, size: int) -> tuple[int | None, ...]:
        if not isinstance(data, list):
            self.fault(place, f"must be a list, not {_kind(data)}")
            return ()
        if len(data) != size:
            self.fault(place, f"has {len(data)} entries where the matrix has {size} rows")
        return tuple(
            None if value is None else self.whole(value, f"{place}[{index}]")
            for index, value in enumerate(data)
        )

    def whole(self, value: object, place: str, largest: int | None = LARGEST) -> int:
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if not isinstance(value, int) or isinstance(value, bool):
            self.fault(place, f"must be a whole number, not {_kind(value)}")
        elif value < 0:
            self.fault(place, f"must not be negative, and is {value}")
        elif largest is not None and value > largest:
            self.fault(place, f"must not be above {largest}, and is {value}")
        else:
            return value
        return 0

    def truth(self, value: object, place: str) -> bool:
        if not isinstance(value, bool):
            self.fault(place, f"must be true or false, not {_kind(value)}")
        return bool(value)


def _given(keys: dict[str, Any], key: str, otherwise: object) -> object:
    value = keys.get(key)
    return otherwise if value is None else value


def _kind(value: object) -> str:
    """What somebody wrote, in words short enough for a list of faults."""
    if value is None:
        return "null"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return repr(value) if len(repr(value)) <= 40 else f"{repr(value)[:37]}..."
