"""Where cases are kept: events that are only ever added, in SQLite or PostgreSQL.

Each call opens what it needs and leaves nothing open, so that threads, tabs and processes may share a store. What a
call has returned is on disk (SQLite: write-ahead log, synchronous FULL).
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from types import TracebackType
from typing import Self

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError

from diagnostics.errors import CaseChangedError, CaseError, NotFoundError, quote

from .database import EVENTS, explain_refusals, open_engine
from .events import (
    Body,
    Closed,
    Corrected,
    Event,
    Retracted,
    SiteDescribed,
    build_case,
    describe_event,
    find_kind,
    is_same_but_for_moments,
    parse_body,
    split_case,
    write_body,
)
from .record import (
    CASE_ID,
    Acknowledgement,
    Baseline,
    Case,
    Closing,
    GuideAnswer,
    Leaving,
    Outline,
    ProofResult,
    Reading,
    Repair,
    Suggestion,
    build_case_id,
)
from .rows import CaseRow, build_row, select_rows
from .site_text import parse_site_text

_MOST_NAMED = 3
_Check = Callable[[Case], bool]  # True: nothing to add


class CaseStore:
    """Cases by their ids. Use it in a ``with``, or call ``close``."""

    def __init__(self, url: str, *, patience_s: float = 5.0) -> None:
        """Open the store at an SQLAlchemy URL and make its table if it is new.

        ``patience_s``: how long a busy store is waited for. Raises CaseError.
        """
        self._engine = open_engine(url, patience_s)

    def __enter__(self) -> Self:
        """Return the store itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let go of the database."""
        self.close()

    def close(self) -> None:
        """Let go of the database; calling it twice does no harm."""
        self._engine.dispose()

    def create_case(self, case: Case) -> Case:
        """Keep a new case and return it with its id and revision.

        A case without an id is given one. The same case created again is returned as it stands; another case under
        an id that is taken raises CaseError.
        """
        case = case if case.case_id else replace(case, case_id=build_case_id())
        if not re.fullmatch(CASE_ID, case.case_id):
            raise CaseError(f"{quote(case.case_id)} is no case id", hint="leave it empty: one is given")
        bodies = tuple(split_case(case))
        build_case(case.case_id, (Event(n, find_kind(b), write_body(b)) for n, b in enumerate(bodies, 1)))
        try:
            with explain_refusals():
                self._insert(case.case_id, 1, bodies)
        except _TakenError:
            return self._find_same(case, bodies)
        return self.load_case(case.case_id)

    def append_reading(
        self, case_id: str, reading: Reading, expected_revision: int, suggestion: Suggestion | None = None
    ) -> Case:
        """Add a reading, with what it became of a suggested step; it is on disk when this returns.

        The same reading again (by its id, with the same answer) changes nothing. Raises NotFoundError, CaseError, and
        CaseChangedError when the case has moved on from ``expected_revision``.
        """
        return self._append(
            case_id, _with(reading, suggestion), expected_revision, lambda current: _has_reading(current, reading)
        )

    def append_readings(self, case_id: str, readings: Sequence[Reading], expected_revision: int) -> Case:
        """Add several readings, all or none. Raises as ``append_reading``."""

        def is_there(current: Case) -> bool:
            return all(_has_reading(current, reading) for reading in readings)

        return self._append(case_id, tuple(readings), expected_revision, is_there)

    def append_retraction(self, case_id: str, reading_id: str, expected_revision: int, why: str = "") -> Case:
        """Take a reading back; it stays in the record. Raises as ``append_reading``, NotFoundError for its id too."""

        def is_there(current: Case) -> bool:
            _check_known(current, reading_id)
            return all(r.reading_id != reading_id for r in current.readings)

        return self._append(case_id, (Retracted(reading_id, datetime.now(UTC), why),), expected_revision, is_there)

    def append_correction(
        self, case_id: str, reading_id: str, reading: Reading, expected_revision: int, why: str = ""
    ) -> Case:
        """Put a reading in the place of another, in one act; the old one stays in the record, taken back.

        Raises as ``append_reading``, and NotFoundError when there is no reading of the old id that counts.
        """

        def is_there(current: Case) -> bool:
            if _has_reading(current, reading):
                return True
            if all(r.reading_id != reading_id for r in current.readings):
                raise NotFoundError(f"case {quote(case_id)} has no reading {quote(reading_id)} that counts")
            return False

        body = Corrected(reading_id, reading, datetime.now(UTC), why)
        return self._append(case_id, (body,), expected_revision, is_there)

    def append_repair(
        self, case_id: str, repair: Repair, expected_revision: int, suggestion: Suggestion | None = None
    ) -> Case:
        """Add a repair, or whether an earlier one (same fault and moment) cured it. Raises as ``append_reading``."""
        bodies = _with(repair, suggestion)
        return self._append(case_id, bodies, expected_revision, lambda current: repair in current.repairs)

    def append_closing(
        self, case_id: str, closing: Closing, expected_revision: int, leaving: Leaving | None = None
    ) -> Case:
        """Close the case, or open it again with an empty text: a new visit begins. Raises as ``append_reading``.

        ``leaving`` tells when, by whom and who was told; without it the moment is now. The same again changes nothing;
        somebody else told is kept.
        """
        now = datetime.now(UTC)
        body = Closed(closing, leaving or Leaving(now)) if closing else Closed("", None, now)

        def is_there(current: Case) -> bool:
            known = current.leaving
            same = leaving is None or (known is not None and replace(leaving, at=known.at) == known)
            return current.closing == closing and same

        return self._append(case_id, (body,), expected_revision, is_there)

    def append_site(self, case_id: str, site_text: str, expected_revision: int, *given: Acknowledgement) -> Case:
        """Describe the site anew; the earlier description stays. Raises as ``append_reading``, and SourceError."""
        parse_site_text(site_text, "site")
        bodies: tuple[Body, ...] = (SiteDescribed(site_text, datetime.now(UTC)), *given)
        return self._append(
            case_id, bodies, expected_revision, lambda current: not given and current.site_text == site_text
        )

    def append_outline(self, case_id: str, outline: Outline, expected_revision: int, *given: Acknowledgement) -> Case:
        """Change contexts, symptom, means, meter and notes. Raises as ``append_reading``."""
        bodies: tuple[Body, ...] = (outline, *given)
        return self._append(
            case_id, bodies, expected_revision, lambda current: not given and current.outline == outline
        )

    def append_acknowledgement(
        self, case_id: str, given: Acknowledgement, expected_revision: int, suggestion: Suggestion | None = None
    ) -> Case:
        """Note that a caution was accepted, or a suggested step left out. Raises as ``append_reading``."""
        return self.append_acknowledgements(case_id, (given,), expected_revision, suggestion)

    def append_acknowledgements(
        self,
        case_id: str,
        given: Sequence[Acknowledgement],
        expected_revision: int,
        suggestion: Suggestion | None = None,
    ) -> Case:
        """Note several such things as one act, all or none. Raises as ``append_reading``."""
        bodies: tuple[Body, ...] = (*given, *((suggestion,) if suggestion else ()))
        return self._append(
            case_id, bodies, expected_revision, lambda current: all(a in current.acknowledged for a in given)
        )

    def append_answer(self, case_id: str, answer: GuideAnswer, expected_revision: int) -> Case:
        """Add an answer to a step of a finding guide that is no measurement. Raises as ``append_reading``."""
        return self._append(case_id, (answer,), expected_revision, lambda current: answer in current.guide_answers)

    def append_tests(
        self,
        case_id: str,
        results: Iterable[ProofResult],
        expected_revision: int,
        passed: Acknowledgement | None = None,
    ) -> Case:
        """Add results of tests after a repair, all or none, and that the list is through. Raises as above."""
        bodies: tuple[Body, ...] = (*results, *((passed,) if passed else ()))

        def is_there(current: Case) -> bool:
            return all(body in current.tests or body in current.acknowledged for body in bodies)

        return self._append(case_id, bodies, expected_revision, is_there)

    def append_act(
        self, case_id: str, bodies: Sequence[Body], expected_revision: int, is_there: _Check = lambda _: False
    ) -> Case:
        """Add whatever was said at once, all or none. Raises as ``append_reading``, and ValueError for nothing.

        ``is_there`` says of the stored case whether that is so already, so that nothing has to be added.
        """
        if not bodies:
            raise ValueError("an act says something")
        return self._append(case_id, tuple(bodies), expected_revision, is_there)

    def append_baseline(
        self, case_id: str, baseline: Baseline, expected_revision: int, *given: Acknowledgement
    ) -> Case:
        """Keep how the site was left at an earlier visit; an empty one takes it out. Raises as ``append_reading``."""
        bodies: tuple[Body, ...] = (baseline, *given)
        return self._append(
            case_id, bodies, expected_revision, lambda current: not given and current.baseline == baseline
        )

    def list_changes(self, case_id: str, since_revision: int) -> tuple[Body, ...]:
        """Return what has happened to a case after a revision, in its order. Raises as ``load_case``."""
        events = self._read_events(case_id)
        return tuple(parse_body(case_id, e) for e in events if e.revision > since_revision)

    def load_case(self, case_id: str, at_revision: int | None = None) -> Case:
        """Return a case as its events add up; or as it stood at an earlier revision, as somebody has seen it.

        Raises
        ------
        NotFoundError
            No such case.
        CaseError
            The store does not answer, or the case is damaged (named with its revision); others can still be loaded.
        """
        events = self._read_events(case_id)
        return build_case(case_id, [e for e in events if at_revision is None or e.revision <= at_revision])

    def list_cases(self, limit: int = 100, word: str = "") -> tuple[CaseRow, ...]:
        """Return the cases that were changed last, newest first; those left impaired stand before all others.

        With ``word`` only those in which it stands anywhere, or whose number it is part of. Capitals do not count, but
        for letters outside the English alphabet in SQLite.
        """
        with explain_refusals(), self._engine.connect() as connection:
            rows = connection.execute(select_rows(word).limit(limit)).all()
        return tuple(
            build_row(r.case_id, Event(1, r.kind, r.body), (r.opened_at, r.changed_at), r.revision, r.closing)
            for r in rows
        )

    def list_closed(self, closing: Closing, limit: int = 200) -> tuple[str, ...]:
        """Return the ids of the cases that stand closed in one way, the one changed last first."""
        rows = select_rows().subquery()
        wanted = select(rows.c.case_id).where(rows.c.closing == closing)
        wanted = wanted.order_by(rows.c.changed_at.desc(), rows.c.case_id).limit(limit)
        with explain_refusals(), self._engine.connect() as connection:
            return tuple(connection.execute(wanted).scalars())

    def _append(self, case_id: str, bodies: tuple[Body, ...], expected_revision: int, is_there: _Check) -> Case:
        """Add events, all of them or none; the same act once more, on what the first one saw, changes nothing."""
        texts = [write_body(body) for body in bodies]
        events = self._read_events(case_id)
        current = build_case(case_id, events)
        if is_there(current) or _is_said(case_id, events, bodies, expected_revision):
            return current
        if current.revision != expected_revision:
            raise _build_change(current, events, expected_revision)
        try:
            with explain_refusals():
                self._insert(case_id, expected_revision + 1, bodies)
        except _TakenError:  # somebody was faster by a moment
            return self._look_again(case_id, bodies, expected_revision, is_there)
        numbered = enumerate(zip(bodies, texts, strict=True), expected_revision + 1)
        return build_case(case_id, (*events, *(Event(n, find_kind(body), text) for n, (body, text) in numbered)))

    def _look_again(self, case_id: str, bodies: tuple[Body, ...], expected_revision: int, is_there: _Check) -> Case:
        events = self._read_events(case_id)
        current = build_case(case_id, events)
        if is_there(current) or _is_said(case_id, events, bodies, expected_revision):
            return current
        raise _build_change(current, events, expected_revision)

    def _insert(self, case_id: str, first_revision: int, bodies: Iterable[Body]) -> None:
        at = datetime.now(UTC).isoformat(timespec="microseconds")
        rows = [
            {
                "case_id": case_id,
                "revision": revision,
                "kind": find_kind(body),
                "mark": body.closing if isinstance(body, Closed) else "",
                "body": write_body(body),
                "at": at,
            }
            for revision, body in enumerate(bodies, first_revision)
        ]
        try:
            with self._engine.begin() as connection:
                connection.execute(insert(EVENTS), rows)
        except IntegrityError as error:
            raise _TakenError from error

    def _read_events(self, case_id: str) -> tuple[Event, ...]:
        wanted = select(EVENTS.c.revision, EVENTS.c.kind, EVENTS.c.body)
        wanted = wanted.where(EVENTS.c.case_id == case_id).order_by(EVENTS.c.revision)
        with explain_refusals(), self._engine.connect() as connection:
            events = tuple(Event(r.revision, r.kind, r.body) for r in connection.execute(wanted))
        if not events:
            raise NotFoundError(f"there is no case {quote(case_id)}", hint="check the id, or look in the list of cases")
        return events

    def _find_same(self, case: Case, bodies: tuple[Body, ...]) -> Case:
        """Return the stored case if it began as this one."""
        events = self._read_events(case.case_id)
        begun = tuple(parse_body(case.case_id, e) for e in events[: len(bodies)])
        if begun != bodies:
            raise CaseError(
                f"there is already a case {quote(case.case_id)}, and it is another one", hint="give it a new id"
            )
        return build_case(case.case_id, events)


def _is_said(case_id: str, events: tuple[Event, ...], bodies: tuple[Body, ...], expected_revision: int) -> bool:
    """Return whether what came after a revision is this very act and nothing else: a button tapped twice."""
    since = [parse_body(case_id, e) for e in events if e.revision > expected_revision]
    return len(since) == len(bodies) and all(is_same_but_for_moments(*pair) for pair in zip(since, bodies, strict=True))


def _with(body: Body, suggestion: Suggestion | None) -> tuple[Body, ...]:
    return (body,) if suggestion is None else (body, suggestion)


def _has_reading(current: Case, reading: Reading) -> bool:
    known = current.find_reading(reading.reading_id)
    if known is not None and not known.is_same_answer(reading):
        raise CaseError("this reading was saved already, with another answer", hint="take it back, then give it anew")
    return known is not None


def _check_known(current: Case, reading_id: str) -> None:
    if current.find_reading(reading_id) is None:
        raise NotFoundError(f"case {quote(current.case_id)} has no reading {quote(reading_id)}")


class _TakenError(Exception):
    """The revision is already there."""


def _build_change(current: Case, events: tuple[Event, ...], expected_revision: int) -> CaseChangedError:
    between = [describe_event(parse_body(current.case_id, e)) for e in events if e.revision > expected_revision]
    if not between:
        message = f"the case has come to revision {current.revision} only, not {expected_revision}"
        return CaseChangedError(message, hint="load it again")
    named = "; ".join(between[:_MOST_NAMED])
    more = f"; and {len(between) - _MOST_NAMED} more" if len(between) > _MOST_NAMED else ""
    message = f"the case has changed since revision {expected_revision}: {named}{more}"
    return CaseChangedError(message, hint="look at that first, then save again; nothing of yours was saved")
