"""Text to quantity and back, copper wire, resistor colours.

Numbers inside the program are SI with the unit at the end of their name; text with prefixes,
commas and feet lives only at the edge, and is read and written here.
"""

from diagnostics.units.bands import Resistor, format_bands, has_colours, parse_bands, parse_resistor
from diagnostics.units.quantity import (
    LARGEST,
    OVER,
    SMALLEST,
    format_ends,
    format_length,
    format_quantity,
    format_short,
    is_in_feet,
    parse_quantity,
    write_feet,
)
from diagnostics.units.spellings import UNITS
from diagnostics.units.wire import (
    COPPER_RESISTIVITY_20C_OHM_M,
    TEMPERATURE_COEFFICIENT_20C,
    Gauge,
    copper_resistance_ohm_per_m,
    parse_gauge,
)

__all__ = [
    "COPPER_RESISTIVITY_20C_OHM_M",
    "LARGEST",
    "OVER",
    "SMALLEST",
    "TEMPERATURE_COEFFICIENT_20C",
    "UNITS",
    "Gauge",
    "Resistor",
    "copper_resistance_ohm_per_m",
    "format_bands",
    "format_ends",
    "format_length",
    "format_quantity",
    "format_short",
    "has_colours",
    "is_in_feet",
    "parse_bands",
    "parse_gauge",
    "parse_quantity",
    "parse_resistor",
    "write_feet",
]
