"""What no residential blower reaches, and what is unusual in a home: slips of the point or of the unit."""

# Beyond any residential blower.
HIGHEST_STATIC_INWC = 10.0
HIGHEST_AIRFLOW_CFM = 50_000.0

# Above these a figure is possible and unusual in a home: likelier pascals among inches, kW among tons.
USUAL_STATIC_INWC = 2.0
USUAL_CAPACITY_TONS = 7.0
# How high above the floor a home's grille may be: a two-storey hall's ceiling. Own bound.
HIGHEST_GRILLE_M = 8.0
# An airflow so near to its floor is not called below it: no field meter reads finer. Own choice.
METER_ERROR = 0.01
# Statics read at an airflow so many times off design say little once carried there. Own choice.
FAR_FROM_DESIGN = 1.5
# A measured airflow outside these parts of design is likelier a lost digit or another unit. Own choice.
ODD_PARTS_OF_DESIGN = (0.5, 1.6)


def far_from_design(airflow_m3s: float | None, design_m3s: float | None) -> bool:
    """Whether a static read at the airflow says little of design; False where either is not known."""
    if not airflow_m3s or not design_m3s:
        return False
    return not 1 / FAR_FROM_DESIGN <= design_m3s / airflow_m3s <= FAR_FROM_DESIGN
