"""What is kept of one visit: the site, the readings in order, the repairs, and how it was left."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final, Literal
from uuid import uuid4

from diagnostics.wiring import Site

Condition = Literal["present", "absent", ""]
Closing = Literal["", "mended", "no_fault_found", "waiting", "left_impaired", "not_ours"]
CONDITIONS: Final[tuple[Condition, ...]] = ("present", "absent", "")
CLOSINGS: Final[tuple[Closing, ...]] = ("", "mended", "no_fault_found", "waiting", "left_impaired", "not_ours")

CASE_ID: Final = "^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$"
_SPOKEN = "23456789abcdefghjkmnpqrstuvwxyz"  # without the letters and digits that sound or look alike


def build_case_id() -> str:
    """Return a new case id that can be read out on the phone, such as ``k3m9-7tqp-x2wd`` (59 bits)."""
    return "-".join("".join(secrets.choice(_SPOKEN) for _ in range(4)) for _ in range(3))


def build_reading_id() -> str:
    """Return a new reading id: 32 hex digits, chosen when the form is shown so that saving twice saves once."""
    return uuid4().hex


def parse_moment(text: str) -> datetime:
    """Return an ISO 8601 moment with its offset from UTC, as UTC.

    Raises
    ------
    ValueError
        Not a moment, or without an offset: a clock time without one means nothing on another phone.
    """
    try:
        moment = datetime.fromisoformat(text)
        return to_utc(moment)
    except (ValueError, OverflowError) as error:
        raise ValueError("a date and time with its offset is wanted, such as 2026-03-14T10:42:00Z") from error


def to_utc(moment: datetime) -> datetime:
    """Return an aware moment in UTC. Raises ValueError when it has no offset."""
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise ValueError("the time has no offset from UTC")
    return moment.astimezone(UTC)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as it was given.

    ``red`` and ``black`` are terminals, or ``at`` a place; ``mode`` and ``value`` stay as typed. ``condition`` tells
    whether the complaint was there at that moment. ``taken_at`` is aware and kept in UTC.
    """

    measurement: str
    value: str
    red: str = ""
    black: str = ""
    at: str = ""
    mode: str = ""
    condition: Condition = ""
    taken_at: datetime | None = None
    by: str = ""
    reading_id: str = field(default_factory=build_reading_id)

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        if self.taken_at is not None:
            object.__setattr__(self, "taken_at", to_utc(self.taken_at))

    @property
    def where(self) -> dict[str, str]:
        """Return red, black, at and mode, as ``readings.parse_measurement`` takes them; what is empty is left out."""
        given = {"red": self.red, "black": self.black, "at": self.at, "mode": self.mode}
        return {key: text for key, text in given.items() if text}

    def is_same_answer(self, other: "Reading") -> bool:
        """Return whether both say the same of the same set-up, whoever took them and whenever."""
        return (
            self.measurement == other.measurement
            and self.where == other.where
            and self.value == other.value
            and self.condition == other.condition
        )


@dataclass(frozen=True, slots=True)
class Retraction:
    """A reading that was taken back; it stays in the record and no longer counts."""

    reading: Reading
    retracted_at: datetime
    why: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "retracted_at", to_utc(self.retracted_at))


@dataclass(frozen=True, slots=True)
class Repair:
    """What was put right: a fault text or plain words; ``cured`` is None until it is known.

    The same ``fault`` and ``done_at`` given again with ``cured`` known replaces the one that waited for it.
    """

    fault: str
    done_at: datetime
    cured: bool | None = None

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "done_at", to_utc(self.done_at))


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """A caution that was read and accepted, by its name, and when."""

    caution: str
    at: datetime

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class Outline:
    """What may change in a case beside its readings: contexts, symptom, what this person has, meter, notes.

    ``can`` None means *everything*. ``meter`` holds texts such as ``{"volts": "0.5 % + 2"}``.
    """

    contexts: tuple[str, ...] = ()
    symptom: str = ""
    can: tuple[str, ...] | None = None
    meter: Mapping[str, str] = field(default_factory=dict)
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """One visit. ``site_text`` is the site as described, word for word; ``revision`` counts what was written to it.

    A case that no store has seen has revision 0, and may have no ``case_id`` yet.
    """

    site: Site
    site_text: str
    case_id: str = ""
    contexts: tuple[str, ...] = ()
    symptom: str = ""
    readings: tuple[Reading, ...] = ()
    can: tuple[str, ...] | None = None
    meter: Mapping[str, str] = field(default_factory=dict)
    notes: str = ""
    closing: Closing = ""
    repairs: tuple[Repair, ...] = ()
    acknowledged: tuple[Acknowledgement, ...] = ()
    retracted: tuple[Retraction, ...] = ()
    revision: int = 0

    @property
    def outline(self) -> Outline:
        """Return contexts, symptom, means, meter and notes together."""
        return Outline(self.contexts, self.symptom, self.can, self.meter, self.notes)

    def find_reading(self, reading_id: str) -> Reading | None:
        """Return the reading of this id, taken back or not, or None."""
        every = (*self.readings, *(r.reading for r in self.retracted))
        return next((r for r in every if r.reading_id == reading_id), None)
