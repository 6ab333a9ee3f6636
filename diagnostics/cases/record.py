"""What is kept of one visit: the site, the readings in order, the repairs, and how it was left."""

import math
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final, Literal
from uuid import uuid4

from diagnostics.wiring import Site

Condition = Literal["present", "absent", ""]
Closing = Literal["", "mended", "no_fault_found", "waiting", "left_impaired", "not_ours"]
ClosedAs = Literal["mended", "no_fault_found", "waiting", "left_impaired", "not_ours"]
CONDITIONS: Final[tuple[Condition, ...]] = ("present", "absent", "")
CLOSINGS: Final[tuple[Closing, ...]] = ("", "mended", "no_fault_found", "waiting", "left_impaired", "not_ours")

Speaker = Literal["model", "guide"]
Offered = Literal["measure", "repair", "hand_over"]
Outcome = Literal["followed", "other", "skipped"]
SPEAKERS: Final[tuple[Speaker, ...]] = ("model", "guide")
OFFERED: Final[tuple[Offered, ...]] = ("measure", "repair", "hand_over")
OUTCOMES: Final[tuple[Outcome, ...]] = ("followed", "other", "skipped")
Saw = Literal["", "as_suspected", "other", "nothing", "right"]
SAW: Final[tuple[Saw, ...]] = ("", "as_suspected", "other", "nothing", "right")
OVER_RANGE: Final = "OL"
COME_BACK: Final = "come_back"  # acknowledged by whoever comes back to an open case on another visit

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
class Understood:
    """What a typed value was taken for when it was stored: SI number (V, ohm) with its unit, ``"OL"``, or a word."""

    value: float | str
    unit: str = ""

    @property
    def number(self) -> float | str:
        """Return the value as the engine takes it: ``math.inf`` for ``"OL"``."""
        return math.inf if self.unit and self.value == OVER_RANGE else self.value


def build_understood(value: float | str, unit: str) -> Understood:
    """Return what was understood, fit to be kept: over-range becomes ``"OL"``."""
    return Understood(OVER_RANGE if isinstance(value, float) and math.isinf(value) else value, unit)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as it was given.

    ``red`` and ``black`` are terminals, or ``at`` a place; ``mode`` and ``value`` stay as typed, ``understood`` is what
    they were taken for, None in records that did not keep it. ``condition`` tells whether the complaint was there at
    that moment. ``taken_at`` is aware and kept in UTC. ``site_revision`` counts from 1: under which description of the
    site it was taken.
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
    understood: Understood | None = None
    site_revision: int = 1

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
    """A reading that was taken back; it stays in the record and no longer counts.

    ``replaced_by`` is the id of the reading given in its place, if any.
    """

    reading: Reading
    retracted_at: datetime
    why: str = ""
    replaced_by: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "retracted_at", to_utc(self.retracted_at))


@dataclass(frozen=True, slots=True)
class Measured:
    """What a meter showed of what came out at a repair, as typed, and what it was taken for."""

    value: str
    understood: Understood


@dataclass(frozen=True, slots=True)
class Repair:
    """What was put right: a fault text or plain words; ``cured`` is None until it is known.

    ``suspected`` are the faults that it was for when it was told, likeliest first: it is one of them; each a fault text
    with the ohms that the readings made of it, or plain words. ``saw`` is what whoever made it saw there, empty where
    nobody said, *right* where nothing had to be put right and all was left as it was. ``found`` is which of several it
    was, a fault text, or, where it was something ``other``, plain words. ``own_words`` are what was typed of a repair
    that nobody had proposed. ``now`` is what is complained of since a repair that did not cure: a symptom; empty where
    it is the same as before.

    ``foreseen`` is what the suspected faults make a meter show of what comes out, likeliest first, as
    ``reasoning.Foreseen`` writes it: kept from before it was measured. ``out`` is what it showed, one way and, where
    that was taken, with the leads turned; empty where nobody measured. ``diode`` is the lower of what the meter's diode
    range showed of it either way, None where nobody used it.

    The same ``fault`` and ``done_at`` given again replaces the one before: it waited for ``cured``, or for what was
    seen. Records of earlier programs have ``found`` alone.
    """

    fault: str
    done_at: datetime
    cured: bool | None = None
    by: str = ""
    found: str = ""
    now: str = ""
    suspected: tuple[str, ...] = ()
    saw: Saw = ""
    own_words: str = ""
    foreseen: tuple[str, ...] = ()
    out: tuple[Measured, ...] = ()
    diode: Measured | None = None

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "done_at", to_utc(self.done_at))

    @property
    def is_in_vain(self) -> bool:
        """Return whether something was put right, and the complaint stayed, or another came."""
        return self.cured is False and self.saw != "right"


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """A caution that was read and accepted, by its name, and when."""

    caution: str
    at: datetime

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A step that was suggested, kept when something was done about it.

    ``by`` the model, or a finding guide with its ``guide`` (a symptom) and ``step``. ``what`` is the key of a
    measurement or the text of a repair. ``reading_id`` is the reading that answered it, of this or of another step.
    """

    action: Offered
    what: str
    suggested_at: datetime
    outcome: Outcome
    by: Speaker = "model"
    guide: str = ""
    step: str = ""
    reading_id: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "suggested_at", to_utc(self.suggested_at))


@dataclass(frozen=True, slots=True)
class GuideAnswer:
    """An answer to a question or an instruction of a finding guide that is no measurement."""

    guide: str
    step: str
    answer: str
    at: datetime
    by: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class ProofResult:
    """One test after a repair, ``at`` a detector where it has one: done, or not done with ``why``.

    One that ``failed`` was made, and the loop did not do as it should: it is not done either.
    """

    test: str
    done: bool
    noted_at: datetime
    at: str = ""
    why: str = ""
    by: str = ""
    failed: bool = False

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "noted_at", to_utc(self.noted_at))


@dataclass(frozen=True, slots=True)
class Leaving:
    """How a visit was closed: when, by whom, who was told, and what there is to say."""

    at: datetime
    by: str = ""
    told: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class EarlierClosing:
    """How a case was closed before it was opened again; None where nobody kept when, by whom and who was told.

    ``opened_at`` is when it was opened again, None in records that did not keep it.
    """

    closing: Closing
    leaving: Leaving | None = None
    opened_at: datetime | None = None

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        if self.opened_at is not None:
            object.__setattr__(self, "opened_at", to_utc(self.opened_at))

    @property
    def ended_at(self) -> datetime | None:
        """Return when the next visit began, as nearly as anybody kept it."""
        return self.opened_at or (self.leaving.at if self.leaving else None)


@dataclass(frozen=True, slots=True)
class SiteRevision:
    """An earlier description of the site, word for word; ``described_at`` is None where nobody kept it."""

    site_text: str
    described_at: datetime | None = None

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        if self.described_at is not None:
            object.__setattr__(self, "described_at", to_utc(self.described_at))


@dataclass(frozen=True, slots=True)
class Baseline:
    """How a site was left at an earlier visit: readings of the sound loop, and the case they come from."""

    readings: tuple[Reading, ...] = ()
    case_id: str = ""


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
    """One fault, and the visits to it: opened again it is a new one. ``revision`` counts what was written.

    ``site_text`` is the site as described last, word for word.

    ``earlier_sites`` are the descriptions before it, the first one first. ``tests`` hold the latest result of each test
    last; ``earlier_closings`` are those that were taken back by opening the case again. A case that no store has seen
    has revision 0, and may have no ``case_id`` yet.
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
    described_at: datetime | None = None
    earlier_sites: tuple[SiteRevision, ...] = ()
    suggestions: tuple[Suggestion, ...] = ()
    guide_answers: tuple[GuideAnswer, ...] = ()
    tests: tuple[ProofResult, ...] = ()
    leaving: Leaving | None = None
    baseline: Baseline = Baseline()
    earlier_closings: tuple[EarlierClosing, ...] = ()

    @property
    def site_revision(self) -> int:
        """Return which description of the site holds now, counted from 1."""
        return len(self.earlier_sites) + 1

    @property
    def visits_begun(self) -> tuple[datetime, ...]:
        """Return when each visit after the first began: the case was opened again, or somebody came back to it."""
        ends = [at for closing in self.earlier_closings if (at := closing.ended_at)]
        return tuple(sorted([*ends, *(a.at for a in self.acknowledged if a.caution == COME_BACK)]))

    @property
    def visit_begun(self) -> datetime | None:
        """Return since when what was said belongs to the visit in hand; None in the first visit: all of it does."""
        return self.visits_begun[-1] if self.visits_begun else None

    def is_of_visit(self, at: datetime | None) -> bool:
        """Return whether what happened at a moment belongs to the visit in hand; without a moment: to the first."""
        return self.visit_begun is None or (at is not None and at >= self.visit_begun)

    @property
    def outline(self) -> Outline:
        """Return contexts, symptom, means, meter and notes together."""
        return Outline(self.contexts, self.symptom, self.can, self.meter, self.notes)

    def find_reading(self, reading_id: str) -> Reading | None:
        """Return the reading of this id, taken back or not, or None."""
        every = (*self.readings, *(r.reading for r in self.retracted))
        return next((r for r in every if r.reading_id == reading_id), None)
