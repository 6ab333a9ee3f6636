"""What the design check says: a table as data for screens, findings for ``check``, an object for programs."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from diagnostics.errors import Finding
from diagnostics.proving import BACKUP_H, MOST_COUNTED, Design, Flaw, Row
from diagnostics.source import Document, parse_model, read_file
from diagnostics.units import format_ends, format_quantity
from diagnostics.wiring import Loop

from .objects import round_number
from .word_table import Region
from .words import Words

_FILE = Path(__file__).with_name("design.yaml")
Object = dict[str, Any]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _FlawWords(_Strict):
    fails: str
    thin: str
    hint: str
    two_wire: str = ""


class _Table(_Strict):
    format: Literal["ohmward-design-words/1"]
    title: str
    outranked: str
    brackets: str
    sites: dict[str, str]
    heads: tuple[str, str, str, str, str, str]
    checks: dict[str, str]
    conditions: dict[str, str]
    windows: dict[str, str]
    alone: str
    why: dict[str, str]
    limits: dict[str, str]
    sources: dict[str, str]
    verdicts: dict[str, str]
    severities: dict[str, str]
    flaws: dict[str, _FlawWords]
    profile: str


@dataclass(frozen=True, slots=True)
class DesignLine:
    """One line of the table, as text: what, as described, at the worse corner, limit, where that is from, verdict."""

    what: str
    value: str
    worst: str
    limit: str
    source: str
    verdict: str


@dataclass(frozen=True, slots=True)
class DesignTable:
    """The design check as a screen shows it: (severity, sentence, hint) of each complaint, heads and lines."""

    title: str
    told: tuple[tuple[str, str, str], ...]
    heads: tuple[str, ...]
    lines: tuple[DesignLine, ...]
    outranked: str
    brackets: str


@cache
def read_design_words() -> _Table:
    """Return the words of the design check that ship with the package."""
    return parse_model(read_file(_FILE), _Table)


def build_design_table(design: Design, loop: Loop, region: Region = "north_america") -> DesignTable:
    """Return the design check in words, for a region: what is complained of first, then every number."""
    words, table = Words(loop, region=region), read_design_words()
    told = tuple((table.severities[f.severity], *_tell_flaw(f, words)) for f in design.flaws)
    rows = [row for row in design.rows if row.condition == region or row.condition not in BACKUP_H]
    lines = tuple(_build_line(row, words) for row in rows)
    return DesignTable(table.title, told, table.heads, lines, table.outranked, table.brackets)


def build_design_findings(design: Design, loop: Loop, document: Document) -> tuple[Finding, ...]:
    """Return what the check complains of as findings of a site file, each at its line and column."""
    words = Words(loop)
    return tuple(_build_finding(flaw, words, document) for flaw in design.flaws)


def _build_finding(flaw: Flaw, words: Words, document: Document) -> Finding:
    places = (document.places.get(flaw.path[:end]) for end in range(len(flaw.path), 0, -1))
    line, column = next((place for place in places if place), (1, 1))
    return Finding(document.file, line, column, flaw.code, flaw.severity, *_tell_flaw(flaw, words))


def build_design_object(design: Design) -> list[Object]:
    """Return every number of the check, SI with its unit; no limit is ``null``."""
    return [
        {
            "check": row.check, "at": row.at, "condition": row.condition or None, "detector": row.detector or None,
            "value": round_number(row.reach.nominal, 6), "low": round_number(row.reach.low, 6),
            "high": round_number(row.reach.high, 6), "unit": row.unit or None, "floor": _bound(row.floor),
            "ceiling": _bound(row.ceiling), "limit": row.limit or None,
            "limit_from": _find_source(row),
            "verdict": None if row.check == "battery" else row.verdict,
        }
        for row in design.rows
    ]  # fmt: skip


def render_design_text(design: Design, loop: Loop) -> list[str]:
    """Return the table as lines for a terminal."""
    table = build_design_table(design, loop)
    lines = [f"{table.title}: {loop.site.name}"]
    for row in table.lines:
        limit = f"; {row.limit} ({row.source})" if row.limit else ""
        corner = f" ({row.worst})" if row.worst else ""
        verdict = f": {row.verdict}" if row.verdict else ""
        lines.append(f"  {row.what}: {row.value}{corner}{limit}{verdict}")
    return [*lines, f"  {table.brackets}", f"  {table.outranked}"]


def _tell_flaw(flaw: Flaw, words: Words) -> tuple[str, str]:
    table = read_design_words()
    if flaw.row is None:
        return words.table.defects[flaw.defect].format(**words.terms), ""
    row, told, terms = flaw.row, table.flaws[flaw.code], _list_terms(flaw, flaw.row, words)
    message = (told.fails if row.verdict == "fails" else told.thin).format(**terms)
    hint = (told.two_wire if told.two_wire and flaw.carries else told.hint).format(**terms)
    return _capital(message), hint if row.given else table.profile.format(hint=hint)


def _list_terms(flaw: Flaw, row: Row, words: Words) -> dict[str, str]:
    """Return what the words of a flaw may be filled in with."""
    table, carries = read_design_words(), flaw.carries
    numbers = {"value": row.reach.nominal, "low": row.reach.low, "high": row.reach.high, "ceiling": row.ceiling}
    return {
        **words.terms,
        **{name: _show(number, row) for name, number in numbers.items()},
        "at": _name(row, words),
        "limit": _tell_limit(row),
        "when": table.conditions.get(row.condition, ""),
        "detector": words.noun(row.detector) if row.detector else table.sites["module"],
        "fitted": str(flaw.fitted),
        "carries": str(carries.nominal) if carries else "",
        "low_carries": str(carries.worst) if carries else "",
    }


def _build_line(row: Row, words: Words) -> DesignLine:
    table = read_design_words()
    what = table.checks[row.check].format(at=_name(row, words), when=_tell_when(row, words), why=_tell_why(row))
    source = table.sources[_find_source(row)]
    value = _show(row.reach.nominal, row)
    if row.check == "battery":
        return DesignLine(_capital(what), value, "", "", source, "")
    verdict = table.verdicts[row.verdict]
    return DesignLine(_capital(what), value, _show_corner(row), _tell_limit(row), source, verdict)


def _show_corner(row: Row) -> str:
    """Return what the tolerances make of a number: of a window both corners, of all else the worse one."""
    if row.check == "window":
        floor, ceiling = format_ends((row.reach.low, row.reach.high), row.unit)
        return read_design_words().limits["both"].format(floor=floor, ceiling=ceiling)
    return _show(row.reach.high if row.check == "load" else row.reach.low, row)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _tell_when(row: Row, words: Words) -> str:
    table = read_design_words()
    if row.check != "window":
        is_alone = (
            row.check == "load" and row.condition == "alarm" and row.at in {"loop", *(z.name for z in words.loop.zones)}
        )
        return table.alone if is_alone else table.conditions.get(row.condition, "")
    is_output = row.condition == "alarm" and not row.detector
    told = table.windows["output" if is_output else row.condition]
    return told.format(detector=words.noun(row.detector) if row.detector else "")


def _tell_why(row: Row) -> str:
    return read_design_words().why.get(row.limit or "most", "")


def _tell_limit(row: Row) -> str:
    limits, inf = read_design_words().limits, float("inf")
    has_floor = row.floor > -inf and row.check not in {"load", "battery"}
    has_ceiling = row.ceiling < inf
    key = ("both" if has_floor else "ceiling") if has_ceiling else ("floor" if has_floor else "none")
    key = {"ceiling": "below", "floor": "above"}.get(key, key) if row.check == "window" else key
    key = "fitted" if row.check == "carries" else key
    return limits[key].format(floor=_show(row.floor, row), ceiling=_show(row.ceiling, row))


def _find_source(row: Row) -> str:
    if row.check == "battery":
        return "none"
    return "fitted" if row.check == "carries" else "given" if row.given else "profile"


def _name(row: Row, words: Words) -> str:
    return read_design_words().sites.get(row.at.rstrip("0123456789")) or words.noun(row.at)


def _show(value: float, row: Row) -> str:
    if row.unit == "Ah":
        return f"{value:.1f} Ah"
    if row.unit:
        return format_quantity(value, row.unit)
    return f"{value:.0f} or more" if value >= MOST_COUNTED else f"{value:.0f}"


def _bound(value: float) -> float | str | None:
    return round_number(value, 6) if abs(value) < float("inf") else None
