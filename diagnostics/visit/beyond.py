"""Volts that no source of a loop has: another circuit may touch it, and nothing more is measured before it is safe."""

from typing import Final

from diagnostics.cases import Case, Reading, understand_value
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import Measurement, parse_measurement
from diagnostics.wiring import Loop

# Above every source's volts by this share nothing in the loop can make a reading; invented, wide of any tolerance.
BEYOND: Final = 1.25


def find_most_v(loop: Loop) -> float:
    """Return more volts than any source of this loop can show."""
    return BEYOND * max((abs(e.emf_v) for e in loop.elements), default=0.0)


def is_beyond(loop: Loop, measurement: Measurement, value: float | str) -> bool:
    """Return whether a value is of volts that no source of the loop has."""
    return measurement.kind == "volts" and isinstance(value, float) and abs(value) > find_most_v(loop)


def list_beyond(case: Case, loop: Loop) -> tuple[Reading, ...]:
    """Return the readings of volts that no source of the loop has, and that were not taken again since.

    A reading counts whether or not the complaint was there, before a repair or after it: whoever took it may be hurt.
    """
    latest: dict[object, Reading] = {}
    for reading in case.readings:
        try:
            m = parse_measurement(reading.measurement, loop, reading.where)
            latest.pop(m.set_up, None)
            if is_beyond(loop, m, understand_value(m, loop, reading)):
                latest[m.set_up] = reading
        except DiagnosticsError:
            continue  # a record of another program, or of another description
    return tuple(latest.values())
