"""Cases: the record of a visit, where it is kept, and its file."""

from .database import STORE_VARIABLE, default_store_url
from .record import (
    CLOSINGS,
    CONDITIONS,
    Acknowledgement,
    Case,
    Closing,
    Condition,
    Outline,
    Reading,
    Repair,
    Retraction,
    build_case_id,
    build_reading_id,
    parse_moment,
)
from .site_text import parse_site_text, write_site
from .store import CaseRow, CaseStore

__all__ = [
    "CLOSINGS",
    "CONDITIONS",
    "STORE_VARIABLE",
    "Acknowledgement",
    "Case",
    "CaseRow",
    "CaseStore",
    "Closing",
    "Condition",
    "Outline",
    "Reading",
    "Repair",
    "Retraction",
    "build_case_id",
    "build_reading_id",
    "default_store_url",
    "parse_moment",
    "parse_site_text",
    "write_site",
]
