"""What laboratories and codes print of filters and fans. None of it is a limit for a house."""

from equipment.airside.refused import BadFigure, want_above_nought, want_finite
from shared.units import M3S_PER_CFM, PA_PER_INWC

# ASHRAE 52.2 as quoted in a second source: least final resistance of the laboratory's test of a MERV 8.
LABORATORY_END_MERV_8_PA = 0.60 * PA_PER_INWC
# ISO 16890-1:2016 as quoted in a second source.
_ISO_STEP_PERCENT = 5
_ISO_LEAST_PERCENT = 50.0
# California Title 24 150.0(m)13, in W a cfm there.
_EFFICACY_GAS_FURNACE = 0.45
_EFFICACY_OTHERS = 0.58
_EFFICACY_HIGH_VELOCITY = 0.62


def laboratory_end_point(clean_pa: float, least_pa: float = LABORATORY_END_MERV_8_PA) -> float:
    """Drop in Pa at which a laboratory stops loading a filter: the larger of the table's and twice clean.

    ASHRAE 52.2, as quoted in a second source; ``least_pa`` is the table's for the MERV, here that of MERV 8.
    At the laboratory's airflow and dust: never a limit for a house, whose budget knows nothing of it. Raises
    BadFigure for a drop not above 0, NotFinite for NaN or an infinity.
    """
    want_above_nought("a drop", clean_pa, least_pa)
    return max(least_pa, 2.0 * clean_pa)


def iso_class(epm1_percent: float, epm2_5_percent: float, epm10_percent: float) -> str:
    """The ISO 16890 class by the efficiencies in percent: "ISO ePM1 65 %" and the like, or "ISO Coarse".

    The finest fraction of which at least half is caught, in steps of 5, rounded down; ISO Coarse where less
    than half even of ePM10 is. For ePM1 and ePM2.5 the standard asks the least efficiency, after discharge,
    to reach half too: give that one where it is the smaller. ISO 16890-1:2016, as quoted in a second source.
    Raises BadFigure outside 0 to 100, NotFinite for NaN or an infinity.
    """
    found = {"ePM1": epm1_percent, "ePM2.5": epm2_5_percent, "ePM10": epm10_percent}
    want_finite("an efficiency", *found.values())
    if not all(0 <= percent <= 100 for percent in found.values()):
        raise BadFigure("an efficiency lies from 0 to 100 percent")
    for name, percent in found.items():
        if percent >= _ISO_LEAST_PERCENT:
            return f"ISO {name} {int(percent // _ISO_STEP_PERCENT) * _ISO_STEP_PERCENT} %"
    return "ISO Coarse"


def most_fan_power(airflow_m3s: float, *, high_velocity: bool = False, gas_furnace: bool = False) -> float:
    """Electric power in W that California lets a fan draw at an airflow in m3/s: 0.45 W a cfm in gas
    furnaces, 0.62 in small-duct high-velocity systems, 0.58 elsewhere.

    Title 24 150.0(m)13, its summary, as quoted in a second source. Raises BadFigure for an airflow not above
    0, NotFinite for NaN or an infinity.
    """
    want_above_nought("an airflow", airflow_m3s)
    others = _EFFICACY_HIGH_VELOCITY if high_velocity else _EFFICACY_OTHERS
    return airflow_m3s / M3S_PER_CFM * (_EFFICACY_GAS_FURNACE if gas_furnace else others)


def blower_efficiency(airflow_m3s: float, static_pa: float, power_w: float) -> float:
    """Share of the electric power in W that becomes air power, airflow in m3/s times static in Pa.

    By definition. Raises BadFigure for a figure not above 0, NotFinite for NaN or an infinity.
    """
    want_above_nought("airflow, static and power", airflow_m3s, static_pa, power_w)
    return airflow_m3s * static_pa / power_w
