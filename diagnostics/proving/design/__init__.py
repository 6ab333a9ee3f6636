"""The design check of an installed loop: every number by the engine, each with its tolerance and its limit."""

from .capacity import MOST_COUNTED, Capacity, find_capacity
from .check import CODES, DEFECTS, OWN_CODES, check_design
from .corners import TOLERANCE_SDS, Case, Reach, find_reaches, settle_cases
from .loads import BACKUP_H, find_needed_ah
from .rows import Design, Flaw, Row

__all__ = [
    "BACKUP_H",
    "CODES",
    "DEFECTS",
    "MOST_COUNTED",
    "OWN_CODES",
    "TOLERANCE_SDS",
    "Capacity",
    "Case",
    "Design",
    "Flaw",
    "Reach",
    "Row",
    "check_design",
    "find_capacity",
    "find_needed_ah",
    "find_reaches",
    "settle_cases",
]  # fmt: skip
