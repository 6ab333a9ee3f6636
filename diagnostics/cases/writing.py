"""A case as the text of a case file, which ``parse_case`` reads back equal."""

import json
import textwrap
from datetime import datetime

from diagnostics.errors import CaseError, SourceError
from diagnostics.source import Tree, read_document

from .record import Case, Reading, Retraction
from .schema import FORMAT
from .site_part import cut_site_text
from .site_text import write_tree

_NAME = "case"


def write_case(case: Case) -> str:
    """Return a case as YAML, with its site written out in its own lines.

    Line ends and blank lines around the site come out plain. Raises CaseError when it holds half a character, and
    SourceError when its site text is no YAML.
    """
    rest = _build_rest(case)
    try:
        json.dumps(rest, ensure_ascii=False).encode()
    except UnicodeError as error:
        raise CaseError("this case holds characters that cannot be written", hint="type them again") from error
    return _write_head(case) + _write_site_part(case.site_text) + write_tree(rest)


def _write_head(case: Case) -> str:
    """Return format and identity, a line each: a group of texts alone would come out in braces."""
    known = {"case_id": case.case_id, "revision": str(case.revision)} if case.case_id else {}
    return "".join(f"{key}: {json.dumps(text)}\n" for key, text in ({"format": FORMAT} | known).items())


def _write_site_part(site_text: str) -> str:
    """Return the site in its own lines where they can be moved under a key, in ours otherwise."""
    lines = site_text.removeprefix("\ufeff").strip("\r\n").splitlines()
    own = "site:\n" + textwrap.indent("\n".join(lines), "  ") + "\n"
    tree = read_document(site_text, _NAME).data
    try:
        document = read_document(own, _NAME)
    except SourceError:
        return write_tree({"site": tree})
    is_whole = document.data == {"site": tree} and cut_site_text(document, own).splitlines() == lines
    return own if is_whole else write_tree({"site": tree})


def _build_rest(case: Case) -> Tree:
    """Return everything behind the site; what is empty is left out, but the readings are always there."""
    rest: dict[str, Tree] = {
        "context": list(case.contexts),
        "symptom": case.symptom,
        "can": None if case.can is None else list(case.can),
        "meter": dict(case.meter),
        "notes": case.notes,
        "closing": case.closing,
        "repairs": [_build_group(fault=r.fault, done_at=r.done_at, cured=r.cured) for r in case.repairs],
        "acknowledged": [_build_group(caution=a.caution, at=a.at) for a in case.acknowledged],
        "retracted": [_build_retraction(r) for r in case.retracted],
    }
    kept = {key: part for key, part in rest.items() if part or (key == "can" and part is not None)}
    return {**kept, "readings": [_build_reading(r) for r in case.readings]}


def _build_reading(reading: Reading) -> dict[str, Tree]:
    return _build_group(
        measurement=reading.measurement,
        **reading.where,
        value=reading.value,
        condition=reading.condition or None,
        taken_at=reading.taken_at,
        by=reading.by or None,
        id=reading.reading_id,
    )


def _build_retraction(item: Retraction) -> dict[str, Tree]:
    return _build_reading(item.reading) | _build_group(retracted_at=item.retracted_at, why=item.why or None)


def _build_group(**parts: object) -> dict[str, Tree]:
    return {key: _write_part(part) for key, part in parts.items() if part is not None}


def _write_part(part: object) -> str:
    if isinstance(part, datetime):
        return part.isoformat().replace("+00:00", "Z")
    return {True: "yes", False: "no"}[part] if isinstance(part, bool) else str(part)
