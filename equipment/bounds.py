"""Beyond any residential blower: such a figure is a slip of the decimal point or of the unit."""

HIGHEST_STATIC_INWC = 10.0
HIGHEST_AIRFLOW_CFM = 50_000.0
