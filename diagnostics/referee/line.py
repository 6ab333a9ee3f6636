"""The referee's line to the engine: words of the command line go out, JSON objects come back, and nothing else.

Whoever starts the referee gives it the line's other end, a callable; the referee imports no part of the engine.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from diagnostics.source import read_file

SITES = tuple(sorted((Path(__file__).parent / "sites").glob("*.yaml")))
DEFAULT_PROFILES = {"two_wire": "smoke_two_wire", "class_a": "smoke_two_wire", "four_wire": "smoke_four_wire"}

Row = dict[str, Any]
Ask = Callable[[Sequence[str], str], Row]
"""Runs one command with ``--json`` and a text on standard input; returns its object, or raises RefusedError."""


class RefusedError(RuntimeError):
    """A command ended in any other way than with an object."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A line to one program: asked over and over, what never changes is kept."""

    ask: Ask
    kept: dict[tuple[str, ...], Any] = field(default_factory=dict)

    def list_rows(self, what: str, site: Path | None = None) -> tuple[Row, ...]:
        """Return the rows of ``list WHAT [SITE]``."""
        words = ("list", what, *([str(site)] if site else []))
        if words not in self.kept:
            self.kept[words] = tuple(self.ask(words, "")["rows"])
        rows: tuple[Row, ...] = self.kept[words]
        return rows

    def find_kind(self, site: Path, kind: str) -> Row:
        """Return the row of a kind of fault on a site; raises KeyError for an unknown one."""
        found = [row for row in self.list_rows("kinds", site) if row["kind"] == kind]
        if not found:
            raise KeyError(kind)
        return found[0]

    def export(self, site: Path, fault: str = "healthy") -> Row:
        """Return the circuit of a site with a fault."""
        words = ("export", str(site), *([] if fault == "healthy" else ["--fault", fault]))
        if words not in self.kept:
            self.kept[words] = self.ask(words, "")
        exported: Row = self.kept[words]
        return exported

    def list_values(self, profile: str, stated: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Return the words of a part's values by name: what a site file states, else the profile's own."""
        values = next(row["values"] for row in self.list_rows("profiles") if row["profile"] == profile)
        return {name: value["default"] for name, value in values.items()} | dict(stated or {})

    def list_senses(self, site: Path) -> dict[str, str]:
        """Return what each detector senses, fire or co, by site file and profiles, in order."""
        rows = [row for loop in read_loops(site) for row in list_detectors(loop)]
        sensed = [self.list_values(row["profile"], row["values"])["senses"] for row in rows]
        return {f"det{n + 1}": str(word) for n, word in enumerate(sensed)}


def read_site(site: Path) -> Row:
    """Return a site file as plain text, lists and mappings."""
    data: Any = read_file(site).data
    return dict(data)


def list_panel_values(line: Line, site: Path) -> dict[str, Any]:
    """Return the words of a panel's values by name: what the site file states, else its profile's own."""
    panel = read_site(site).get("panel", {})
    return line.list_values(str(panel.get("profile", "panel_24v")), panel.get("values"))


def read_loops(site: Path) -> list[Row]:
    """Return the loops of a site file."""
    return list(read_site(site)["loops"])


def list_detectors(loop: Row) -> list[Row]:
    """Return profile, stated values and the length of the run into each detector of a loop, in order."""
    default = next((name for word, name in DEFAULT_PROFILES.items() if word in loop["style"]), "heat_contact")
    each = loop.get("each", {})
    rows = loop.get("detectors") or [{}] * int(loop.get("count", 0))
    return [
        {
            "profile": row.get("profile", each.get("profile", default)),
            "values": {**each.get("values", {}), **row.get("values", {})},
            "run": row.get("run", loop.get("cable", {}).get("run")),
        }
        for row in rows
    ]


def find_style(site: Path) -> str:
    """Return the wiring style of a site: that of its first loop, *two_loops* where there are more."""
    text = site.read_text(encoding="utf-8")
    styles = re.findall(r"(?:^[ -]*|[{,]\s*)style:\s*(\w+)", text, flags=re.MULTILINE)
    return "two_loops" if len(styles) > 1 else str(styles[0])
