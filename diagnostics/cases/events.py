"""What happens to a case, one event a row, and the case that the events add up to."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from diagnostics.errors import CaseError, SourceError, quote
from diagnostics.wiring import Site

from .record import Acknowledgement, Case, Closing, Outline, Reading, Repair, Retraction, to_utc
from .site_text import parse_site_text

LONGEST_BODY: Final = 1_200_000  # characters: a site file may have a million


@dataclass(frozen=True, slots=True)
class Opened:
    """A case begins: its site as described, and its outline."""

    site_text: str
    outline: Outline


@dataclass(frozen=True, slots=True)
class SiteDescribed:
    """The site is described anew."""

    site_text: str


@dataclass(frozen=True, slots=True)
class Retracted:
    """A reading no longer counts."""

    reading_id: str
    at: datetime
    why: str = ""

    def __post_init__(self) -> None:
        """Bring the moment to UTC."""
        object.__setattr__(self, "at", to_utc(self.at))


@dataclass(frozen=True, slots=True)
class Closed:
    """The visit ends, or is opened again with an empty closing."""

    closing: Closing


Body = Opened | Outline | SiteDescribed | Reading | Retracted | Repair | Acknowledgement | Closed
_KINDS: Final[dict[str, type[Body]]] = {
    "opened": Opened,
    "outlined": Outline,
    "site": SiteDescribed,
    "reading": Reading,
    "retraction": Retracted,
    "repair": Repair,
    "acknowledgement": Acknowledgement,
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
    """Yield the events that add up to a case, readings that were taken back first."""
    yield Opened(case.site_text, case.outline)
    for item in case.retracted:
        yield item.reading
        yield Retracted(item.reading.reading_id, item.retracted_at, item.why)
    yield from case.readings
    yield from case.acknowledged
    yield from case.repairs
    if case.closing:
        yield Closed(case.closing)


def describe_event(body: Body) -> str:
    """Return one event in a few words, for the message that says what came in between."""
    match body:
        case Reading():
            where = " to ".join(text for text in (body.red, body.black, body.at) if text)
            words = (
                f"reading {body.measurement} {where} {quote(body.value)}{f' by {quote(body.by)}' if body.by else ''}"
            )
        case Repair():
            words = f"repair {quote(body.fault)}"
        case Closed():
            words = f"closed as {body.closing}" if body.closing else "opened again"
        case Acknowledgement():
            words = f"caution {quote(body.caution)} acknowledged"
        case _:
            words = _WORDS[type(body)]
    return words


_WORDS: Final[dict[type[Body], str]] = {
    Opened: "the case opened",
    Outline: "contexts, symptom, means, meter or notes changed",
    SiteDescribed: "the site described anew",
    Retracted: "a reading taken back",
}


def _build_adapters() -> dict[type[Body], TypeAdapter[Any]]:
    return {body: TypeAdapter(body) for body in _KINDS.values()}


_ADAPTERS: Final = _build_adapters()


def _refuse(case_id: str, revision: int, why: str, hint: str = "other cases are not touched") -> CaseError:
    return CaseError(f"case {quote(case_id)} cannot be read at revision {revision}: {why}", hint=hint)


def _open(case_id: str, revision: int, body: Opened) -> Case:
    site = _read_site(case_id, revision, body.site_text)
    return Case(site, body.site_text, case_id, **asdict(body.outline))


def _apply(case: Case, revision: int, body: Body) -> Case:
    if isinstance(body, SiteDescribed):
        return replace(case, site=_read_site(case.case_id, revision, body.site_text), site_text=body.site_text)
    return _STEPS[type(body)](case, body)


def _read_site(case_id: str, revision: int, site_text: str) -> Site:
    try:
        return parse_site_text(site_text, f"site of case {case_id}")
    except SourceError as error:
        raise _refuse(case_id, revision, f"its site does not read: {error.findings[0].message}") from error


def _add_reading(case: Case, body: Reading) -> Case:
    return replace(case, readings=(*case.readings, body))


def _retract(case: Case, body: Retracted) -> Case:
    gone = [r for r in case.readings if r.reading_id == body.reading_id]
    kept = tuple(r for r in case.readings if r.reading_id != body.reading_id)
    return replace(case, readings=kept, retracted=(*case.retracted, *(Retraction(r, body.at, body.why) for r in gone)))


def _add_repair(case: Case, body: Repair) -> Case:
    for index, known in enumerate(case.repairs):
        if (known.fault, known.done_at) == (body.fault, body.done_at):
            return replace(case, repairs=(*case.repairs[:index], body, *case.repairs[index + 1 :]))
    return replace(case, repairs=(*case.repairs, body))


_STEPS: Final[dict[type[Body], Callable[[Case, Any], Case]]] = {
    Reading: _add_reading,
    Retracted: _retract,
    Repair: _add_repair,
    Acknowledgement: lambda case, body: replace(case, acknowledged=(*case.acknowledged, body)),
    Closed: lambda case, body: replace(case, closing=body.closing),
    Outline: lambda case, body: replace(case, **asdict(body)),
}
