"""Quantities as field types for pydantic models.

A model that says ``length_m: Metres`` takes "40 ft" from a file and 12.19 from Python. The message and hint of a
quantity's own error travel inside pydantic's, from where ``diagnostics.source`` takes them out again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BeforeValidator, InstanceOf, WithJsonSchema

from diagnostics.errors import QuantityError
from diagnostics.units.bands import parse_resistor
from diagnostics.units.quantity import parse_quantity
from diagnostics.units.spellings import UNITS
from diagnostics.units.wire import Gauge, parse_gauge


def _build_check(parse: Callable[[str], float], unit: str) -> BeforeValidator:
    def check(value: Any) -> Any:  # noqa: ANN401 - whatever a file or a caller holds
        if isinstance(value, str):
            return parse(value)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not math.isfinite(value):
            unlike = f"{UNITS[unit].plural} are wanted here"
            raise QuantityError(
                unlike, text=str(value)[:40], unit=unit, hint=f"write for example {UNITS[unit].example}"
            )
        return value

    return BeforeValidator(check)


def _build_json_schema(unit: str) -> WithJsonSchema:
    return WithJsonSchema(
        {"type": ["number", "string"], "description": UNITS[unit].plural, "examples": [UNITS[unit].example]}
    )


def _read_gauge(value: Any) -> Any:  # noqa: ANN401 - whatever a file or a caller holds
    return parse_gauge(value) if isinstance(value, str) else value


Volts = Annotated[float, _build_check(lambda text: parse_quantity(text, "V"), "V"), _build_json_schema("V")]
Amps = Annotated[float, _build_check(lambda text: parse_quantity(text, "A"), "A"), _build_json_schema("A")]
Ohms = Annotated[float, _build_check(parse_resistor, "ohm"), _build_json_schema("ohm")]
Metres = Annotated[float, _build_check(lambda text: parse_quantity(text, "m"), "m"), _build_json_schema("m")]
Seconds = Annotated[float, _build_check(lambda text: parse_quantity(text, "s"), "s"), _build_json_schema("s")]
Watts = Annotated[float, _build_check(lambda text: parse_quantity(text, "W"), "W"), _build_json_schema("W")]
Percent = Annotated[float, _build_check(lambda text: parse_quantity(text, "%"), "%"), _build_json_schema("%")]
Celsius = Annotated[float, _build_check(lambda text: parse_quantity(text, "degC"), "degC"), _build_json_schema("degC")]
Wire = Annotated[
    InstanceOf[Gauge],
    BeforeValidator(_read_gauge),
    WithJsonSchema({"type": "string", "description": "wire size", "examples": ["18 AWG", "1.5 mm²"]}),
]
