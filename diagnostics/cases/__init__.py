"""Cases: the record of a visit, where it is kept, and its file."""

from .database import STORE_VARIABLE, default_store_url
from .file import parse_case, read_case
from .meter import METER_KEYS, parse_meter
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
from .writing import write_case

__all__ = [
    "CLOSINGS",
    "CONDITIONS",
    "METER_KEYS",
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
    "parse_case",
    "parse_meter",
    "parse_moment",
    "parse_site_text",
    "read_case",
    "write_case",
    "write_site",
]
