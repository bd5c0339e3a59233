"""A system's design airflow and its floor, each with where it comes from."""

from equipment.airside.limit import AIRFLOW_FLOOR_HIGH_VELOCITY, AIRFLOW_FLOOR_OTHERS
from equipment.models import System


def published_floor(system: System) -> float | None:
    """The published floor in m3/s by the system's kind and capacity; None without a capacity."""
    if system.capacity_w is None:
        return None
    high = system.kind == System.Kind.HIGH_VELOCITY
    return system.capacity_w * (AIRFLOW_FLOOR_HIGH_VELOCITY if high else AIRFLOW_FLOOR_OTHERS)


def design_airflow(system: System) -> tuple[float | None, str]:
    """The system's design airflow in m3/s, and a note where it had to be reckoned."""
    if system.design_airflow_m3s is not None:
        return system.design_airflow_m3s, ""
    floor = published_floor(system)
    return floor, "airflow_unknown" if floor is None else "airflow_from_capacity"
