"""A case that comes in as a file: from another server, from a help desk, or written by hand."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

from diagnostics.cases import COME_BACK, Acknowledgement, Case, CaseStore, parse_case
from diagnostics.errors import DiagnosticsError, FaultError, Finding, NotFoundError, SourceError
from diagnostics.faults import parse_faults
from diagnostics.readings import Bench
from diagnostics.source import find_value, read_content

from .assess import build_bench
from .marks import DESCRIBED, TOLD, find_break, find_hidden, is_described, is_told


@dataclass(frozen=True, slots=True)
class TakenIn:
    """A case of a file as it stands in the store.

    ``is_older``: the store has it, and has gone on since. ``beside`` is the id of a case that went another way from the
    same beginning; the file is kept under an id of its own then.
    """

    case: Case
    is_older: bool = False
    beside: str = ""


def take_in_case(store: CaseStore, content: bytes, name: str) -> TakenIn:
    """Keep the case of a file; of what the store has of it nothing is lost or changed.

    What comes before any measurement is asked in the visit unless the file says that it was done. ``name`` stands for
    the file in findings.

    Raises
    ------
    SourceError, SiteError, FaultError
        The content is no case, its site cannot be wired, or it hides for practice what its loop cannot have; nothing
        was stored.
    CaseError
        The store does not answer.
    """
    if not content.strip():
        raise SourceError([Finding(name, 1, 1, "Y001", "error", "the file is empty", "choose the file of a case")])
    document, text = read_content(content, name)
    if str(find_value(document.data, ("format",))).startswith("ohmward-site"):
        hint = "begin a new case, and choose it there under Site file"
        raise SourceError([Finding(name, 1, 1, "C011", "error", "this file describes a loop; it is no case", hint)])
    case = parse_case(document, None, text=text)
    _check_hidden(case, build_bench(case.site))
    known = _find_known(store, case.case_id)
    if known is None:
        return TakenIn(store.create_case(_note_described(case)))
    if _is_same(known, case):
        return TakenIn(known)
    if 0 < case.revision < known.revision and _is_same(store.load_case(case.case_id, case.revision), case):
        return TakenIn(known, is_older=True)
    return TakenIn(store.create_case(replace(_note_described(case), case_id="")), beside=known.case_id)


def _check_hidden(case: Case, bench: Bench) -> None:
    """Refuse a fault hidden for practice that the loop cannot have; what it is stays untold."""
    hidden = find_hidden(case)
    if hidden is None:
        return
    try:
        parse_faults(hidden, bench.loop)
    except DiagnosticsError:
        hint = "let whoever made it hide one anew, in this loop"
        raise FaultError(
            "this case is for practice, and its loop cannot have what is hidden in it", hint=hint
        ) from None


def _note_described(case: Case) -> Case:
    """Return a case in which loop and complaint are told, as the file tells them; one left lying is another visit."""
    now = datetime.now(UTC)
    told = bool(case.symptom or case.readings)
    noted = [name for name, is_so in ((DESCRIBED, not is_described(case)), (TOLD, told and not is_told(case))) if is_so]
    noted += [COME_BACK] if noted and find_break(case) else []
    return replace(case, acknowledged=(*case.acknowledged, *(Acknowledgement(name, now) for name in noted)))


def _find_known(store: CaseStore, case_id: str) -> Case | None:
    if not case_id:
        return None
    try:
        return store.load_case(case_id)
    except NotFoundError:
        return None


def _is_same(known: Case, case: Case) -> bool:
    """Return whether two cases say the same; how the text of a site is broken into lines and when is not asked."""
    one, two = (
        replace(c, revision=0, acknowledged=(), site_text="", described_at=None, earlier_sites=())
        for c in (known, case)
    )
    return one == two and {a.caution for a in known.acknowledged} == {a.caution for a in case.acknowledged}
