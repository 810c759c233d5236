"""Figures and dates as Spanish-speaking crews of the Americas write them: a point before decimals.

A comma would read 60,5 where a gauge and the box beside it say 60.5.
"""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3
