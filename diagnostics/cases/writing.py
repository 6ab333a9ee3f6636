"""A case as the text of a case file, which ``parse_case`` reads back equal."""

import json
import textwrap
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from diagnostics.errors import CaseError, SourceError
from diagnostics.source import Tree, read_document

from .record import Case, EarlierClosing, Measured, Reading, Retraction
from .schema import FORMAT
from .site_part import cut_site_text
from .site_text import write_tree

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

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
        "described_at": None if case.described_at is None else _write_part(case.described_at),
        "earlier_sites": _build_groups(case.earlier_sites),
        "context": list(case.contexts),
        "symptom": case.symptom,
        "can": None if case.can is None else list(case.can),
        "meter": dict(case.meter),
        "notes": case.notes,
        "closing": case.closing,
        "leaving": None if case.leaving is None else _build_group(case.leaving),
        "earlier_closings": [_build_closing(c) for c in case.earlier_closings],
        "repairs": _build_groups(case.repairs),
        "tests": _build_groups(case.tests),
        "acknowledged": _build_groups(case.acknowledged),
        "suggestions": _build_groups(case.suggestions),
        "guide_answers": _build_groups(case.guide_answers),
        "retracted": [_build_retraction(r) for r in case.retracted],
        "baseline": [_build_reading(r) for r in case.baseline.readings],
        "baseline_from": case.baseline.case_id,
    }
    kept = {key: part for key, part in rest.items() if part or (key == "can" and part is not None)}
    return {**kept, "readings": [_build_reading(r) for r in case.readings]}


def _build_reading(reading: Reading) -> dict[str, Tree]:
    """Return a reading; its terminals stand where people write them."""
    told = _build_group(reading)
    stored = {} if reading.understood is None else {"understood": _build_group(reading.understood)}
    revision = {} if reading.site_revision == 1 else {"site_revision": str(reading.site_revision)}
    order = ("measurement", "red", "black", "at", "mode", "value", "condition", "taken_at", "by")
    return {key: told[key] for key in order if key in told} | stored | revision | {"id": reading.reading_id}


def _build_retraction(item: Retraction) -> dict[str, Tree]:
    told = _build_group(item)
    return _build_reading(item.reading) | {k: told[k] for k in ("retracted_at", "why", "replaced_by") if k in told}


def _build_closing(item: EarlierClosing) -> dict[str, Tree]:
    left = {} if item.leaving is None else {"leaving": _build_group(item.leaving)}
    opened = {} if item.opened_at is None else {"opened_at": _write_part(item.opened_at)}
    return {"closing": item.closing, **left, **opened}


def _build_groups(items: "Iterable[DataclassInstance]") -> list[Tree]:
    return [_build_group(item) for item in items]


def _build_group(item: "DataclassInstance") -> dict[str, Tree]:
    """Return the fields of one entry that say something, by their names; what has a default and says nothing is out."""
    told = ((f, getattr(item, f.name)) for f in fields(item))
    plain = ((f, v) for f, v in told if isinstance(v, Measured) or not is_dataclass(v))
    kept = ((f.name, v) for f, v in plain if not (v in {"", None, ()} and v == f.default))
    return {name: _write_part(v) for name, v in kept}


def _write_part(part: object) -> Tree:
    if isinstance(part, Measured):
        return {"value": part.value, "understood": _build_group(part.understood)}
    if isinstance(part, datetime):
        return part.isoformat().replace("+00:00", "Z")
    if isinstance(part, tuple):
        return [_write_part(one) for one in part]
    if isinstance(part, bool):
        return "yes" if part else "no"
    return repr(part) if isinstance(part, float) else str(part)
