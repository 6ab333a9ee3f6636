"""The shape of a case file, ``format: ohmward-case/1`` (design page, section 11).

Beside the keys that people write, it takes those that an exported case carries: ids, moments, repairs, closing.
"""

import math
from datetime import datetime
from typing import Annotated, Any, Final, Literal, Self
from uuid import UUID, uuid5

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, model_validator

from diagnostics.errors import QuantityError
from diagnostics.faults import Context
from diagnostics.readings.data import Tool
from diagnostics.units import LARGEST, SMALLEST

from .record import (
    CASE_ID,
    OVER_RANGE,
    Acknowledgement,
    Baseline,
    ClosedAs,
    Closing,
    EarlierClosing,
    GuideAnswer,
    Leaving,
    Measured,
    Offered,
    Outcome,
    ProofResult,
    Reading,
    Repair,
    Retraction,
    Saw,
    SiteRevision,
    Speaker,
    Suggestion,
    Understood,
    parse_moment,
)

FORMAT: Final = "ohmward-case/1"
MOST_READINGS: Final = 200
MOST_NOTED: Final = 1000
MOST_SITES: Final = 50
MOST_SITE_CHARACTERS: Final = 200_000  # of all earlier descriptions together; each is read to see that it is one
_MOST_NOTES = 20_000
_MOST_SUSPECTED = 20
MOST_FORESEEN: Final = 40
_MOST_OUT = 2  # one way, and with the leads turned
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


class UnderstoodEntry(_Strict):
    """What a value was taken for: a number in the unit given (V, ohm), ``OL``, or a word without a unit."""

    value: Annotated[str, Field(min_length=1, max_length=2000)]
    unit: Literal["", "V", "ohm"] = ""

    @model_validator(mode="after")
    def _check_number(self) -> Self:
        self.build()
        return self

    def build(self) -> Understood:
        """Return what was understood. Raises ValueError where a unit stands beside no number."""
        if not self.unit or self.value == OVER_RANGE:
            return Understood(self.value, self.unit)
        try:
            number = float(self.value)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            raise ValueError(f"a plain number of {self.unit} is wanted, such as 23.9, or {OVER_RANGE}")
        return Understood(number, self.unit)


def _check_size(entry: UnderstoodEntry | None) -> UnderstoodEntry | None:
    """Refuse a number that no form takes for a reading: what is stored counts, and would be acted on."""
    number = 0.0 if entry is None else entry.build().value
    if entry is None or isinstance(number, str) or not number or SMALLEST <= abs(number) <= LARGEST:
        return entry
    message = f"{entry.value} {entry.unit} is too {'large' if abs(number) > 1 else 'small'} for any reading"
    hint = "write here what the meter showed, or take 'understood' out"
    raise QuantityError(message, text=entry.value, unit=entry.unit, hint=hint)


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
    understood: Annotated[UnderstoodEntry | None, AfterValidator(_check_size)] = None
    site_revision: Annotated[int, Field(ge=1, le=MOST_SITES + 1)] = 1

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
            None if self.understood is None else self.understood.build(),
            self.site_revision,
        )

    def _derive_id(self, position: int) -> str:
        content = (self.measurement, self.red, self.black, self.at, self.mode, self.value, self.condition)
        return uuid5(_FILE_READINGS, "\x1f".join((type(self).__name__, str(position), *content))).hex


class RetractedEntry(ReadingEntry):
    """A reading that was taken back."""

    retracted_at: Moment
    why: Line = ""
    replaced_by: ReadingId | Literal[""] = ""

    def build_retraction(self, position: int) -> Retraction:
        """Return the retraction with its reading."""
        return Retraction(self.build(position), self.retracted_at, self.why, self.replaced_by)


class MeasuredEntry(_Strict):
    """What a meter showed of what came out at a repair."""

    value: Annotated[str, Field(min_length=1, max_length=500)]
    understood: UnderstoodEntry

    @model_validator(mode="after")
    def _check_shown(self) -> Self:
        unit, shown = self.understood.unit, self.understood.build().number
        is_over = unit == "ohm" and shown == math.inf
        size = abs(shown) if isinstance(shown, float) else math.nan
        is_size = size == 0 or SMALLEST <= size <= LARGEST
        is_below = unit == "ohm" and isinstance(shown, float) and shown < 0
        if not unit or is_below or not (is_over or is_size):
            raise ValueError(f"volts, ohms not below zero, or {OVER_RANGE} with the unit ohm are wanted")
        return self

    def build(self) -> Measured:
        """Return what was measured."""
        return Measured(self.value, self.understood.build())


class DiodeEntry(MeasuredEntry):
    """What the diode range of a meter showed of what came out: volts, or OL."""

    @model_validator(mode="after")
    def _check_shown(self) -> Self:
        shown = self.understood.build().number
        is_volts = isinstance(shown, float) and (0 <= shown <= LARGEST or math.isinf(shown))
        if self.understood.unit != "V" or not is_volts:
            raise ValueError(f"volts not below zero, or {OVER_RANGE}, with the unit V are wanted")
        return self


def _check_saw(saw: Saw, info: ValidationInfo) -> Saw:
    """Refuse that what was right, and left as it was, has cured: nothing was changed."""
    if saw == "right" and info.data.get("cured"):
        raise ValueError(
            "right means that nothing was changed, so it cannot have cured: say cured: no, or leave saw out"
        )
    return saw


class RepairEntry(_Strict):
    """What was put right."""

    fault: Line
    done_at: Moment
    cured: bool | None = None
    by: Line = ""
    found: Line = ""
    now: Annotated[str, Field(max_length=80)] = ""
    suspected: Annotated[tuple[Line, ...], Field(max_length=_MOST_SUSPECTED)] = ()
    saw: Annotated[Saw, AfterValidator(_check_saw)] = ""
    own_words: Line = ""
    foreseen: Annotated[tuple[Line, ...], Field(max_length=MOST_FORESEEN)] = ()
    out: Annotated[tuple[MeasuredEntry, ...], Field(max_length=_MOST_OUT)] = ()
    diode: DiodeEntry | None = None

    def build(self) -> Repair:
        """Return the repair."""
        shown = {"out": tuple(one.build() for one in self.out), "diode": self.diode and self.diode.build()}
        return Repair(**(dict(self) | shown))


class AcknowledgedEntry(_Strict):
    """A caution that was accepted."""

    caution: Word
    at: Moment

    def build(self) -> Acknowledgement:
        """Return the acknowledgement."""
        return Acknowledgement(self.caution, self.at)


class SuggestedEntry(_Strict):
    """A suggested step and what became of it."""

    action: Offered
    what: Line = ""
    suggested_at: Moment
    outcome: Outcome
    by: Speaker = "model"
    guide: Line = ""
    step: Line = ""
    reading_id: ReadingId | Literal[""] = ""

    def build(self) -> Suggestion:
        """Return the suggestion."""
        return Suggestion(**dict(self))


class AnswerEntry(_Strict):
    """An answer to a step of a finding guide that is no measurement."""

    guide: Line
    step: Line
    answer: Line
    at: Moment
    by: Line = ""

    def build(self) -> GuideAnswer:
        """Return the answer."""
        return GuideAnswer(**dict(self))


class TestedEntry(_Strict):
    """One test after a repair, done or not, or failed."""

    test: Word
    done: bool
    noted_at: Moment
    at: Terminal = ""
    why: Line = ""
    by: Line = ""
    failed: bool = False

    def build(self) -> ProofResult:
        """Return the result."""
        return ProofResult(**dict(self))


class LeavingEntry(_Strict):
    """When a visit was closed, by whom, and who was told."""

    at: Moment
    by: Line = ""
    told: Annotated[str, Field(max_length=2000)] = ""
    note: Annotated[str, Field(max_length=_MOST_NOTES)] = ""

    def build(self) -> Leaving:
        """Return how the visit was left."""
        return Leaving(**dict(self))


class ClosedEntry(_Strict):
    """How a visit was closed before it was opened again."""

    closing: ClosedAs
    leaving: LeavingEntry | None = None
    opened_at: Moment | None = None

    def build(self) -> EarlierClosing:
        """Return the closing."""
        return EarlierClosing(self.closing, self.leaving.build() if self.leaving else None, self.opened_at)


class SiteEntry(_Strict):
    """An earlier description of the site, word for word."""

    site_text: Annotated[str, Field(max_length=MOST_SITE_CHARACTERS)]
    described_at: Moment | None = None

    def build(self) -> SiteRevision:
        """Return the description."""
        return SiteRevision(self.site_text, self.described_at)


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
    acknowledged: Annotated[tuple[AcknowledgedEntry, ...], Field(max_length=MOST_NOTED)] = ()
    described_at: Moment | None = None
    earlier_sites: Annotated[tuple[SiteEntry, ...], Field(max_length=MOST_SITES)] = ()
    suggestions: Annotated[tuple[SuggestedEntry, ...], Field(max_length=MOST_NOTED)] = ()
    guide_answers: Annotated[tuple[AnswerEntry, ...], Field(max_length=MOST_NOTED)] = ()
    tests: Annotated[tuple[TestedEntry, ...], Field(max_length=MOST_NOTED)] = ()
    leaving: LeavingEntry | None = None
    earlier_closings: Annotated[tuple[ClosedEntry, ...], Field(max_length=MOST_NOTED)] = ()
    baseline: Some = ()
    baseline_from: CaseId | Literal[""] = ""

    def build_rest(self) -> dict[str, Any]:
        """Return what stands in the file beside site and readings, by the names of ``Case``; no baseline."""
        plain = {"case_id": self.case_id or "", "contexts": self.context}
        same = ("symptom", "can", "meter", "notes", "closing", "revision", "described_at")
        earlier = ("earlier_sites", "earlier_closings")
        lists = (*earlier, "repairs", "acknowledged", "suggestions", "guide_answers", "tests")
        built = {key: tuple(entry.build() for entry in getattr(self, key)) for key in lists}
        return {
            **plain,
            **{key: getattr(self, key) for key in same},
            **built,
            "leaving": self.leaving and self.leaving.build(),
        }

    def build_baseline(self, readings: tuple[Reading, ...]) -> Baseline:
        """Return the baseline of these readings."""
        return Baseline(readings, self.baseline_from)
