"""What can be wrong: kinds at places, their edits, remedies, looks and prior weights."""

from .data import CONTEXTS, SIGNS, ComesOut, Context, KindData, Remedy, Sees, Values, Way, read_catalogue
from .fault import (
    TOO_MANY_OHM,
    Fault,
    build_all_edits,
    find_removed,
    find_touched,
    list_faults,
    name_edits,
    parse_fault,
    parse_faults,
    weigh_faults,
)
from .kinds import KINDS, FaultKind
from .places import find_end
from .termination import list_going_on

__all__ = [
    "CONTEXTS", "KINDS", "SIGNS", "TOO_MANY_OHM", "ComesOut", "Context", "Fault", "FaultKind", "KindData", "Remedy",
    "Sees", "Values", "Way", "build_all_edits", "find_end", "find_removed", "find_touched", "list_faults",
    "list_going_on", "name_edits", "parse_fault", "parse_faults", "read_catalogue", "weigh_faults",
]  # fmt: skip
