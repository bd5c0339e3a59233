"""Spanish as it is written in the United States: figures with a decimal point, as labels and gauges print."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
