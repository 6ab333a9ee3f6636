"""What a reading was taken for when it was stored, held against what this program makes of the same text.

The stored value counts, since it is what was acted on; where this program would read the text otherwise, that is told.
"""

from dataclasses import dataclass

from diagnostics.errors import DiagnosticsError
from diagnostics.readings import LISTED, Measurement, list_tokens, parse_measurement, parse_value
from diagnostics.wiring import Loop

from .record import OVER_RANGE, Case, Reading, Understood, build_understood


@dataclass(frozen=True, slots=True)
class Misreading:
    """A reading that this program would understand otherwise; ``now`` is None where it makes nothing of the text."""

    reading: Reading
    stored: Understood
    now: Understood | None


def understand_value(measurement: Measurement, loop: Loop, reading: Reading) -> float | str:
    """Return the value of a reading as the engine takes it: as it was stored, or, where nobody kept it, as typed.

    Raises
    ------
    QuantityError
        The text is no value of this measurement, and what was stored is none either.
    """
    if reading.understood is not None and _is_value(reading.understood, measurement, loop):
        return reading.understood.number
    return parse_value(measurement, loop, reading.value)


def find_misreading(measurement: Measurement, loop: Loop, reading: Reading) -> Misreading | None:
    """Return how a reading would be understood otherwise now, or None."""
    if reading.understood is None:
        return None
    try:
        now = build_understood(parse_value(measurement, loop, reading.value), measurement.unit)
    except DiagnosticsError:
        return Misreading(reading, reading.understood, None)
    return None if now == reading.understood else Misreading(reading, reading.understood, now)


def list_misreadings(case: Case, loop: Loop) -> tuple[Misreading, ...]:
    """Return every reading of a case that counts and would be understood otherwise now.

    Readings whose set-up this loop does not have are left to whoever asks what they mean.
    """
    found = []
    for reading in case.readings:
        try:
            measurement = parse_measurement(reading.measurement, loop, reading.where)
        except DiagnosticsError:
            continue
        found.append(find_misreading(measurement, loop, reading))
    return tuple(m for m in found if m)


def _is_value(stored: Understood, m: Measurement, loop: Loop) -> bool:
    """Return whether what was stored can be an answer to this measurement today."""
    if m.unit:
        is_over = m.kind == "ohms" and stored.value == OVER_RANGE
        is_number = isinstance(stored.value, float) and (m.kind != "ohms" or stored.value >= 0)
        return stored.unit == m.unit and (is_over or is_number)
    if stored.unit or not isinstance(stored.value, str):
        return False
    known = set(list_tokens(m, loop))
    return set(stored.value.split(",")) <= known - {m.at} if m.kind in LISTED else stored.value in known
