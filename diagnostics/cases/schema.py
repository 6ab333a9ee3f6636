"""The shape of a case file, ``format: ohmward-case/1`` (design page, section 11).

Beside the keys that people write, it takes those that an exported case carries: ids, moments, repairs, closing.
"""

from datetime import datetime
from typing import Annotated, Any, Final, Literal
from uuid import UUID, uuid5

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from diagnostics.faults import Context
from diagnostics.readings.data import Tool

from .record import CASE_ID, Acknowledgement, Closing, Reading, Repair, Retraction, parse_moment

FORMAT: Final = "ohmward-case/1"
MOST_READINGS: Final = 200
_MOST_NOTES = 20_000
_FILE_READINGS = UUID("5b0f6c0e-41d7-4c55-9d0b-0a3a8f2f7c11")  # chosen once at random

Word = Annotated[str, Field(min_length=1, max_length=80)]
Terminal = Annotated[str, Field(max_length=80)]
Line = Annotated[str, Field(max_length=500)]
ReadingId = Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
CaseId = Annotated[str, Field(pattern=CASE_ID)]
Some = Annotated[tuple[Any, ...], Field(max_length=MOST_READINGS)]


def _parse_written(value: object) -> datetime:
    return parse_moment(value) if isinstance(value, str) else parse_moment("")


Moment = Annotated[datetime, BeforeValidator(_parse_written)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ReadingEntry(_Strict):
    """One reading as a person writes it: red and black, or at."""

    measurement: Word
    red: Terminal = ""
    black: Terminal = ""
    at: Terminal = ""
    mode: Terminal = ""
    value: Annotated[str, Field(min_length=1, max_length=500)]
    condition: Literal["present", "absent", ""] = ""
    taken_at: Moment | None = None
    by: Line = ""
    id: ReadingId | None = None

    def build(self, position: int) -> Reading:
        """Return the reading; without an id it gets one that follows from its place and content, always the same."""
        return Reading(
            self.measurement,
            self.value,
            self.red,
            self.black,
            self.at,
            self.mode,
            self.condition,
            self.taken_at,
            self.by,
            self.id or self._derive_id(position),
        )

    def _derive_id(self, position: int) -> str:
        content = (self.measurement, self.red, self.black, self.at, self.mode, self.value, self.condition)
        return uuid5(_FILE_READINGS, "\x1f".join((type(self).__name__, str(position), *content))).hex


class RetractedEntry(ReadingEntry):
    """A reading that was taken back."""

    retracted_at: Moment
    why: Line = ""

    def build_retraction(self, position: int) -> Retraction:
        """Return the retraction with its reading."""
        return Retraction(self.build(position), self.retracted_at, self.why)


class RepairEntry(_Strict):
    """What was put right."""

    fault: Line
    done_at: Moment
    cured: bool | None = None

    def build(self) -> Repair:
        """Return the repair."""
        return Repair(self.fault, self.done_at, self.cured)


class AcknowledgedEntry(_Strict):
    """A caution that was accepted."""

    caution: Word
    at: Moment

    def build(self) -> Acknowledgement:
        """Return the acknowledgement."""
        return Acknowledgement(self.caution, self.at)


class CaseFile(_Strict):
    """The whole file. Site and readings are looked at one by one, so that all their findings come at once."""

    format: Literal["ohmward-case/1"]
    case_id: CaseId | None = None
    revision: Annotated[int, Field(ge=0, lt=10**9)] = 0
    site: Any
    context: tuple[Context, ...] = ()
    symptom: Annotated[str, Field(max_length=80)] = ""
    readings: Some = ()
    retracted: Some = ()
    can: tuple[Tool, ...] | None = None
    meter: Annotated[dict[str, str], Field(max_length=20)] = {}
    notes: Annotated[str, Field(max_length=_MOST_NOTES)] = ""
    closing: Closing = ""
    repairs: Annotated[tuple[RepairEntry, ...], Field(max_length=MOST_READINGS)] = ()
    acknowledged: Annotated[tuple[AcknowledgedEntry, ...], Field(max_length=MOST_READINGS)] = ()
