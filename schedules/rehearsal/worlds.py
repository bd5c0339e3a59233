"""Figures from which simulated fleets are made, each with its source or "own assumption".

Nothing here was fitted to the planning engine, and nothing of it is read by that engine. Settled once,
then left alone: a score means something only against a world that was not moved to please it.

Sources: Cetin & Novoselac (189 Texas homes); Siegel et al. 2014 (30 homes); Li, Alavy & Siegel 2019;
Mahdavi & Siegel, Indoor Air 31:1050, 2021 (21 homes); Li et al., Sep. Purif. Technol. 284:120209, 2022,
as carried by LBNL's Modelica Buildings AirFilters; Proctor 2012 (34 California systems); Zaatari et al.
2014; DOE, ENERGY STAR and the Nebraska Energy Office 2019 on intervals; Title 24 150.0(m)13.
"""

from dataclasses import dataclass
from typing import Final

Range = tuple[float, float]


@dataclass(frozen=True)
class Climate:
    """Daily mean outdoor temperature: season, year and weather. °C, days. Own assumptions, rounded
    from common knowledge of such places; no station's record is reproduced."""

    name: str
    zone: str
    latitude: float
    longitude: float
    mean_c: float
    season_c: float
    """Half of the span between the warmest and the coldest week."""
    noise_c: float
    """Standard deviation of the weather about the season."""
    warmest_day: float = 203.0
    memory_days: float = 3.0
    year_c: float = 0.7
    """Standard deviation of an anomaly that lasts about a year."""


HOT_HUMID: Final = Climate("hot-humid", "America/Chicago", 29.8, -95.4, 20.9, 8.4, 4.0)
MIXED: Final = Climate("mixed", "America/New_York", 39.1, -76.7, 13.2, 12.0, 4.6)
COLD: Final = Climate("cold", "America/Chicago", 44.9, -93.2, 7.8, 16.6, 5.4)
MARINE: Final = Climate("marine", "America/Los_Angeles", 47.5, -122.3, 11.3, 7.0, 2.8, 210.0)


@dataclass(frozen=True)
class World:
    """Parameters of a simulated world. Lengths of time in days, hours in hours a day, sd of logarithms."""

    climates: tuple[Climate, ...] = (HOT_HUMID, MIXED, COLD, MARINE)
    stations: tuple[int, int] = (2, 4)
    """Fewest and most stations a fleet; own assumption."""

    # Fan hours. Aim: 20 % of the year in Texas, least near 15 °C (Cetin & Novoselac); a few to over
    # 60 % among houses (Siegel et al. 2014); houses alike outdoors differ (Li, Alavy & Siegel 2019).
    cooling_above_c: Range = (17.8, 2.0)
    """Mean and sd among houses of the change point; own assumption about the 15 °C of the source."""
    heating_below_c: Range = (13.2, 2.0)
    cooling_hours_per_k: float = 0.66
    """Median; own assumption, brought to the 20 % of the source."""
    heating_hours_per_k: float = 0.31
    base_hours: float = 0.6
    slope_sd: float = 0.45
    base_sd: float = 0.8
    habit_sd: float = 0.22
    """How one house wanders about its own line; own assumption."""
    habit_days: float = 30.0
    hours_noise_sd: float = 0.28
    fan_on_houses: float = 0.04
    """Share of houses whose fan runs on between calls; own assumption after the 60 % of Siegel et al."""
    fan_on_hours: Range = (6.0, 16.0)
    away_a_year: float = 1.6
    away_days: float = 7.0
    away_share: float = 0.35
    fan_weeks_a_year: float = 0.7
    fan_weeks_days: float = 10.0
    fan_weeks_hours: float = 8.0

    # Dust in the air, total suspended.
    dust_ug_m3: float = 89.8
    """Median over houses; Mahdavi & Siegel 2021."""
    dust_house_sd: float = 0.9
    """Own assumption: 2.9 to 823.7 among 21 homes is wider, but holds measuring error and the moment."""
    pets: float = 0.55
    pets_factor: float = 1.35
    smokers: float = 0.10
    smokers_factor: float = 1.6
    """Shares and factors of pets and smokers: own assumptions."""
    wander_sd: Range = (0.3, 0.5)
    wander_days: Range = (14.0, 50.0)
    """Slow wandering of one house's dust; own assumption."""
    smoke_a_year: float = 0.5
    smoke_days: float = 9.0
    smoke_factor: Range = (1.5, 4.0)
    smoke_season_day: float = 235.0
    """Smoke over a whole region, likeliest late in summer; own assumption."""
    works_a_year: float = 0.10
    works_days: float = 24.0
    works_factor: Range = (3.0, 10.0)
    """Renovation of one house; own assumption."""

    # Systems. Airflow floors: 250 and 350 cfm a ton (Title 24 150.0(m)13); the rest own assumptions.
    high_velocity: float = 0.35
    constant_airflow: Range = (0.70, 0.35)
    """Share of constant-airflow blowers among high-velocity and conventional systems."""
    tons: tuple[float, ...] = (1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0)
    cfm_a_ton: tuple[Range, Range] = ((240.0, 290.0), (340.0, 410.0))
    true_airflow_sd: Range = (0.03, 0.08)
    """Real over stated airflow, constant-airflow and fixed-speed."""
    slots_a_system: tuple[float, float, float] = (0.72, 0.20, 0.08)
    face_fpm: Range = (330.0, 0.20)
    """Median face velocity and its sd: puts the filter in place near the 0.28 in. w.c. of Proctor 2012."""
    fan_slope: Range = (1.6, 3.2)
    """Fall of a fixed-speed blower's static, in parts of itself, for one part of airflow; own assumption."""
    filter_part: Range = (0.25, 0.45)
    """A clean filter's part of the external static; trade press says a quarter, own assumption above it."""

    # Media; own assumptions within what labels of such filters say.
    depths: tuple[tuple[float, float], ...] = ((1, 0.62), (2, 0.16), (4, 0.16), (5, 0.06))
    mervs: tuple[tuple[int, float], ...] = ((6, 0.12), (8, 0.38), (11, 0.28), (13, 0.22))
    exponent: Range = (1.05, 1.45)
    """Clean drop over airflow; 1.176 in Li et al. 2022, the range own assumption."""
    label_sd: float = 0.03
    piece_sd: float = 0.03

    # Loading. Drop over accumulated dust is convex (Li et al. 2022); shapes other than theirs are ours.
    doubling_g_m2: Range = (200.0, 0.35)
    """Median and sd over slots of the dust at which an inch of medium doubles its drop; own assumption
    that puts the median life near the 90 days to 6 months of the interval guidance."""
    depth_power: float = 0.75
    power_shape: Range = (1.0, 2.0)
    exponential_base: Range = (1.5, 12.0)
    shapes: tuple[float, float, float] = (0.4, 0.35, 0.25)
    """Shares of power laws, exponentials and quadratic blends."""
    highest_growth: float = 10.0
    """Where bypass and a bent frame stop the drop from rising; own assumption."""

    # The household, the visits and the record; own assumptions.
    habit_change_days: Range = (90.0, 270.0)
    by_technician: float = 0.4
    agreement: float = 0.62
    visit_days: Range = (60.0, 200.0)
    self_reading: float = 0.12
    self_reading_days: Range = (18.0, 45.0)
    changes_at_share: Range = (0.7, 1.05)
    """Measured share of the way to the limit at which a technician changes the filter."""
    unreported: float = 0.04
    reported_off: float = 0.10
    media_left_empty: float = 0.15
    after_change_reading: float = 0.45
    record_days: Range = (548.0, 1095.0)
    newcomers: float = 0.06
    newcomer_days: Range = (5.0, 120.0)
    fitted_unknown: float = 0.25
    logged: float = 0.70
    log_stops: float = 0.12
    days_missing: float = 0.02
    airflow_stated: float = 0.85
    statics_stated: float = 0.40
    limit_stated: float = 0.15
    facts_stated: float = 0.80

    # Meters. 0.01 in. w.c. is what such manometers show; the rest own assumptions.
    resolution_inwc: float = 0.01
    meter_ends_inwc: float = 5.0
    """What such an instrument shows at most; own assumption."""
    gain_sd: float = 0.02
    gain_drift_a_year: float = 0.02
    offset_inwc: float = 0.006
    method_sd: float = 0.04
    gross_errors: float = 0.02
    airflow_noted: float = 0.35
    airflow_noted_sd: float = 0.04
    airflow_wrong: float = 0.05
    low_tap: float = 0.05
    low_tap_share: Range = (0.62, 0.85)


DEFAULT: Final = World()
