"""Which cautions this visit has shown in full already: later a line reminds of them, never nothing."""

from typing import Final

from diagnostics.cases import Case
from diagnostics.errors import DiagnosticsError
from diagnostics.readings import parse_measurement
from diagnostics.wiring import Loop

from .marks import SAFETY

# Shown in full with every repair; the place of the repair adds others, which are shown again.
_WITH_REPAIR: Final = ("out_of_service", "outranked")


def list_read_cautions(case: Case, loop: Loop) -> frozenset[str]:
    """Return the cautions that were accepted, or stood in full above a step that was recorded, taken back or not."""
    found: set[str] = {a.caution for a in case.acknowledged if a.caution in SAFETY}
    for reading in (*case.readings, *(r.reading for r in case.retracted)):
        try:
            found |= set(parse_measurement(reading.measurement, loop, reading.where).cautions)
        except DiagnosticsError:
            continue  # a record of another program, or another description
    return frozenset(found.union(_WITH_REPAIR if case.repairs else ()))
