"""What no residential blower reaches, and what is unusual in a home: slips of the point or of the unit."""

# Beyond any residential blower.
HIGHEST_STATIC_INWC = 10.0
HIGHEST_AIRFLOW_CFM = 50_000.0

# Above these a figure is possible and unusual in a home: likelier pascals among inches, kW among tons.
USUAL_STATIC_INWC = 2.0
USUAL_CAPACITY_TONS = 7.0
# An airflow so near to its floor is not called below it: no field meter reads finer. Own choice.
METER_ERROR = 0.01
