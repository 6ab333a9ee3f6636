"""What happens to a case, one event a row, and the case that the events add up to."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from diagnostics.errors import CaseError, SourceError, quote
from diagnostics.wiring import Site

from .record import (
    Acknowledgement,
    Baseline,
    Case,
    Closing,
    EarlierClosing,
    GuideAnswer,
    Leaving,
    Outline,
    ProofResult,
    Reading,
    Repair,
    Retraction,
    SiteRevision,
    Suggestion,
    to_utc,
)
from .site_text import parse_site_text

LONGEST_BODY: Final = 1_200_000  # characters: a site file may have a million


@dataclass(frozen=True, slots=True)
class Opened:
    """A case begins: its site as described, and its outline."""

    site_text: str
    outline: Outline
    described_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class SiteDescribed:
    """The site is described anew; rows of earlier programs do not say when."""

    site_text: str
    described_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Retracted:
    """A reading no longer counts."""

    reading_id: str
    at: datetime
    why: str = ""
    replaced_by: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class Corrected:
    """A reading no longer counts, and another stands in its place: one act, kept whole or not at all."""

    reading_id: str
    reading: Reading
    at: datetime
    why: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class Closed:
    """The visit ends; or, with an empty closing, a new one to the same case begins, ``opened_at`` a moment."""

    closing: Closing
    leaving: Leaving | None = None
    opened_at: datetime | None = None

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        if self.opened_at is not None:
            object.__setattr__(self, "opened_at", to_utc(self.opened_at))


Body = (
    Opened
    | Outline
    | SiteDescribed
    | Reading
    | Retracted
    | Corrected
    | Repair
    | Acknowledgement
    | Suggestion
    | GuideAnswer
    | ProofResult
    | Baseline
    | Closed
)
_KINDS: Final[dict[str, type[Body]]] = {
    "opened": Opened,
    "outlined": Outline,
    "site": SiteDescribed,
    "reading": Reading,
    "retraction": Retracted,
    "correction": Corrected,
    "repair": Repair,
    "acknowledgement": Acknowledgement,
    "suggestion": Suggestion,
    "guide_answer": GuideAnswer,
    "test": ProofResult,
    "baseline": Baseline,
    "closing": Closed,
}
_NAMES: Final = {body: name for name, body in _KINDS.items()}


@dataclass(frozen=True, slots=True)
class Event:
    """One row: the revision that it made, its kind, its body as JSON text."""

    revision: int
    kind: str
    body: str


def find_kind(body: Body) -> str:
    """Return the word under which a body is kept."""
    return _NAMES[type(body)]


def write_body(body: Body) -> str:
    """Return a body as JSON text. Raises CaseError when it cannot be kept (too long, half a character)."""
    try:
        text: str = _ADAPTERS[type(body)].dump_json(body).decode()
    except PydanticSerializationError as error:
        raise CaseError("this holds characters that cannot be kept", hint="type it again") from error
    if len(text) > LONGEST_BODY:
        raise CaseError("this is too long to keep", hint="shorten the notes or the site")
    return text


def parse_body(case_id: str, event: Event) -> Body:
    """Return the body of a row.

    Raises
    ------
    CaseError
        The row is damaged, or was written by a newer program; names the case and the revision.
    """
    if event.kind not in _KINDS:
        raise _refuse(
            case_id, event.revision, f"{quote(event.kind)} is not known", "a newer Ohmward may have written it"
        )
    try:
        body: Body = _ADAPTERS[_KINDS[event.kind]].validate_json(event.body)
    except (ValidationError, ValueError, OverflowError) as error:
        raise _refuse(case_id, event.revision, f"its {event.kind} is damaged") from error
    return body


def is_same_but_for_moments(one: Body, other: Body) -> bool:
    """Return whether two bodies say the same, whenever they were said."""
    return type(one) is type(other) and _drop_moments(asdict(one)) == _drop_moments(asdict(other))


def _drop_moments(part: object) -> object:
    if isinstance(part, dict):
        return {key: _drop_moments(value) for key, value in part.items()}
    return None if isinstance(part, datetime) else part


def build_case(case_id: str, events: Iterable[Event]) -> Case:
    """Return the case that the events add up to, in order of revision. Raises CaseError as ``parse_body`` does."""
    case: Case | None = None
    for expected, event in enumerate(events, 1):
        if event.revision != expected:
            raise _refuse(case_id, event.revision, "a revision before this one is missing")
        body = parse_body(case_id, event)
        if case is None and isinstance(body, Opened):
            case = _open(case_id, expected, body)
        elif case is None or isinstance(body, Opened):
            raise _refuse(case_id, expected, "the record does not begin where it should")
        else:
            case = _apply(case, expected, body)
    if case is None:
        raise CaseError(f"case {quote(case_id)} has no record")
    return replace(case, revision=expected)


def split_case(case: Case) -> Iterator[Body]:
    """Yield the events that add up to a case, each reading under the description of the site it was taken under."""
    every = (*(item.reading for item in case.retracted), *case.readings)
    sites = (*case.earlier_sites, SiteRevision(case.site_text, case.described_at))
    yield Opened(sites[0].site_text, case.outline, sites[0].described_at)
    for number, site in enumerate(sites, 1):
        if number > 1:
            yield SiteDescribed(site.site_text, site.described_at)
        yield from (r for r in every if r.site_revision == number)
    for item in case.retracted:
        yield Retracted(item.reading.reading_id, item.retracted_at, item.why, item.replaced_by)
    if case.baseline != Baseline():
        yield case.baseline
    yield from case.acknowledged
    yield from case.suggestions
    yield from case.guide_answers
    yield from case.repairs
    yield from case.tests
    for earlier in case.earlier_closings:
        yield Closed(earlier.closing, earlier.leaving)
        yield Closed("", None, earlier.opened_at)
    if case.closing:
        yield Closed(case.closing, case.leaving)


def describe_event(body: Body) -> str:
    """Return one event in a few words, for the message that says what came in between."""
    match body:
        case Reading():
            words = _describe_reading(body)
        case Corrected():
            words = f"a reading corrected: {_describe_reading(body.reading)}"
        case Repair():
            words = f"repair {quote(body.fault)}"
        case Closed():
            words = f"closed as {body.closing}" if body.closing else "opened again"
        case Acknowledgement():
            words = f"caution {quote(body.caution)} acknowledged"
        case GuideAnswer():
            words = f"step {quote(body.step)} of the guide answered {quote(body.answer)}"
        case ProofResult():
            words = f"test {quote(body.test)} {'done' if body.done else 'failed' if body.failed else 'not done'}"
        case _:
            words = _WORDS[type(body)]
    return words


def _describe_reading(reading: Reading) -> str:
    where = " to ".join(text for text in (reading.red, reading.black, reading.at) if text)
    by = f" by {quote(reading.by)}" if reading.by else ""
    return f"reading {reading.measurement} {where} {quote(reading.value)}{by}"


_WORDS: Final[dict[type[Body], str]] = {
    Opened: "the case opened",
    Outline: "contexts, symptom, means, meter or notes changed",
    SiteDescribed: "the site described anew",
    Retracted: "a reading taken back",
    Suggestion: "what became of a suggested step",
    Baseline: "the baseline of the site",
}


def _build_adapters() -> dict[type[Body], TypeAdapter[Any]]:
    return {body: TypeAdapter(body) for body in _KINDS.values()}


_ADAPTERS: Final = _build_adapters()


def _refuse(case_id: str, revision: int, why: str, hint: str = "other cases are not touched") -> CaseError:
    return CaseError(f"case {quote(case_id)} cannot be read at revision {revision}: {why}", hint=hint)


def _open(case_id: str, revision: int, body: Opened) -> Case:
    site = _read_site(case_id, revision, body.site_text)
    return Case(site, body.site_text, case_id, **asdict(body.outline), described_at=body.described_at)


def _apply(case: Case, revision: int, body: Body) -> Case:
    if isinstance(body, SiteDescribed):
        return _describe_anew(case, _read_site(case.case_id, revision, body.site_text), body)
    return _STEPS[type(body)](case, body)


def _describe_anew(case: Case, site: Site, body: SiteDescribed) -> Case:
    """Keep the description that held until now; a baseline is one of that loop and does not pass on."""
    earlier = (*case.earlier_sites, SiteRevision(case.site_text, case.described_at))
    return replace(
        case,
        site=site,
        site_text=body.site_text,
        described_at=body.described_at,
        earlier_sites=earlier,
        baseline=Baseline(),
    )


def _read_site(case_id: str, revision: int, text: str) -> Site:
    try:
        return parse_site_text(text, f"site of case {case_id}")
    except SourceError as error:
        raise _refuse(case_id, revision, f"its site does not read: {error.findings[0].message}") from error


def _add_reading(case: Case, body: Reading) -> Case:
    """Add a reading; which description of the site held is told by the order of the events, not by the row."""
    return replace(case, readings=(*case.readings, replace(body, site_revision=case.site_revision)))


def _retract(case: Case, body: Retracted) -> Case:
    gone = [r for r in case.readings if r.reading_id == body.reading_id]
    kept = tuple(r for r in case.readings if r.reading_id != body.reading_id)
    more = (Retraction(r, body.at, body.why, body.replaced_by) for r in gone)
    return replace(case, readings=kept, retracted=(*case.retracted, *more))


def _correct(case: Case, body: Corrected) -> Case:
    gone = Retracted(body.reading_id, body.at, body.why, body.reading.reading_id)
    return _add_reading(_retract(case, gone), body.reading)


def _add_repair(case: Case, body: Repair) -> Case:
    for index, known in enumerate(case.repairs):
        if (known.fault, known.done_at) == (body.fault, body.done_at):
            return replace(case, repairs=(*case.repairs[:index], body, *case.repairs[index + 1 :]))
    return replace(case, repairs=(*case.repairs, body))


def _close(case: Case, body: Closed) -> Case:
    """Close the case, or open it again: how it was closed before stays in the record."""
    reopened = case.closing and not body.closing
    before = (EarlierClosing(case.closing, case.leaving, body.opened_at),) if reopened else ()
    return replace(case, closing=body.closing, leaving=body.leaving, earlier_closings=(*case.earlier_closings, *before))


_STEPS: Final[dict[type[Body], Callable[[Case, Any], Case]]] = {
    Reading: _add_reading,
    Retracted: _retract,
    Corrected: _correct,
    Repair: _add_repair,
    Acknowledgement: lambda case, body: replace(case, acknowledged=(*case.acknowledged, body)),
    Suggestion: lambda case, body: replace(case, suggestions=(*case.suggestions, body)),
    GuideAnswer: lambda case, body: replace(case, guide_answers=(*case.guide_answers, body)),
    ProofResult: lambda case, body: replace(case, tests=(*case.tests, body)),
    Baseline: lambda case, body: replace(case, baseline=body),
    Closed: _close,
    Outline: lambda case, body: replace(case, **asdict(body)),
}
