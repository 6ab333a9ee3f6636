"""One line of a list of cases, and how such lines are asked of the database."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import Select, case, func, select

from diagnostics.errors import CaseError, SourceError

from .database import EVENTS
from .events import Closed, Event, Opened, find_kind, parse_body
from .site_text import parse_site_text

LEFT_IMPAIRED: Final = "left_impaired"
_UNREADABLE: Final = "(cannot be read)"


@dataclass(frozen=True, slots=True)
class CaseRow:
    """One line of a list of cases. ``is_readable`` is False when its first event is damaged."""

    case_id: str
    site_name: str
    symptom: str
    opened_at: datetime
    changed_at: datetime
    revision: int
    closing: str
    is_readable: bool


def select_rows(word: str = "") -> Select[tuple[str, str, str, str, str, int, str]]:
    """One row a case: its first event, when it was opened and changed, its revision, its last closing.

    With ``word`` those in which it stands anywhere.
    """
    first, last = EVENTS.alias("first"), EVENTS.alias("last")
    spans = (
        select(
            EVENTS.c.case_id,
            func.max(EVENTS.c.revision).label("revision"),
            func.max(EVENTS.c.at).label("changed_at"),
            func.max(case((EVENTS.c.kind == find_kind(Closed("")), EVENTS.c.revision), else_=0)).label("closed_at"),
        )
        .group_by(EVENTS.c.case_id)
        .subquery()
    )
    closing = func.coalesce(last.c.mark, "").label("closing")
    rows = (
        select(
            first.c.case_id, first.c.kind, first.c.body, first.c.at.label("opened_at"),
            spans.c.changed_at, spans.c.revision, closing,
        )
        .join(spans, spans.c.case_id == first.c.case_id)
        .outerjoin(last, (last.c.case_id == first.c.case_id) & (last.c.revision == spans.c.closed_at))
        .where(first.c.revision == 1)
        .order_by(case((closing == LEFT_IMPAIRED, 0), else_=1), spans.c.changed_at.desc(), first.c.case_id)
    )  # fmt: skip
    if not word:
        return rows
    told = select(EVENTS.c.case_id).where(EVENTS.c.body.icontains(word, autoescape=True))
    return rows.where(first.c.case_id.in_(told) | first.c.case_id.icontains(word, autoescape=True))


def build_row(case_id: str, first: Event, span: tuple[str, str], revision: int, closing: str) -> CaseRow:
    """Return the line of a case; ``span`` is when it was opened and changed."""
    name, symptom, is_readable = _UNREADABLE, "", False
    try:
        body = parse_body(case_id, first)
        if isinstance(body, Opened):
            name, symptom, is_readable = parse_site_text(body.site_text, "site").name, body.outline.symptom, True
    except (CaseError, SourceError):
        pass
    opened_at, changed_at = (datetime.fromisoformat(text) for text in span)
    return CaseRow(case_id, name, symptom, opened_at, changed_at, revision, closing, is_readable)
