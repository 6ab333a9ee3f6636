"""Everything that goes wrong on purpose.

The tree; a second parent is the builtin that a caller would expect::

    DiagnosticsError
      QuantityError (ValueError)      a text that is no quantity of the wanted unit
      SourceError (ValueError)        a data file with findings: place, code, message, hint
      SiteError (ValueError)          a description of an installed loop that cannot be
      FaultError (ValueError)         a fault text that names nothing in this loop
      PhysicsError                    a circuit without an answer, in installers' words
      CaseError                       a case that cannot be read, kept or continued
        CaseChangedError              somebody else has written to the case meanwhile
      NotFoundError (LookupError)     a name that nothing answers to

Facts travel as attributes; ``str()`` joins the message and the hint in one line.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Literal

Severity = Literal["error", "warning", "note"]

_ALIKE = 0.6  # difflib's own default; lower proposes words that have nothing in common


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """One complaint about a data file, with its place.

    ``line`` and ``column`` count from 1. Findings sort by file, then place.
    """

    file: str
    line: int
    column: int
    code: str
    severity: Severity
    message: str
    hint: str = ""

    def __str__(self) -> str:
        """Show place, severity, code, message and hint in one line."""
        text = join_hint(self.message, self.hint)
        return f"{self.file}:{self.line}:{self.column}: {self.severity} {self.code} {text}"

    def to_json(self) -> dict[str, str | int]:
        """Return the fields as a plain mapping, ready for JSON."""
        return asdict(self)


class DiagnosticsError(Exception):
    """Root of every error that this package raises on purpose.

    Attributes: ``message`` says what is wrong, ``hint`` what to do about it ("" when there is none).
    """

    def __init__(self, message: str = "", *, hint: str = "") -> None:
        """Keep the message and the hint."""
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        """Show message and hint in one line."""
        return join_hint(self.message, self.hint)


class QuantityError(DiagnosticsError, ValueError):
    """A text that is not a quantity of the wanted unit.

    Attributes: ``text`` as it was given, ``unit`` that was wanted.
    """

    def __init__(self, message: str, *, text: str = "", unit: str = "", hint: str = "") -> None:
        """Keep what was read and what was wanted."""
        super().__init__(message, hint=hint)
        self.text = text
        self.unit = unit


class SourceError(DiagnosticsError, ValueError):
    """A data file that cannot be used.

    Attributes: ``findings``, sorted by place; ``str()`` prints one a line.
    """

    def __init__(self, findings: Iterable[Finding]) -> None:
        """Sort the findings and drop exact repeats."""
        self.findings: tuple[Finding, ...] = tuple(sorted(set(findings)))
        super().__init__("\n".join(str(finding) for finding in self.findings))
        self.args = (self.findings,)  # copies and pickles are rebuilt from args


class SiteError(DiagnosticsError, ValueError):
    """A description of an installed loop that contradicts itself or lacks something."""


class FaultError(DiagnosticsError, ValueError):
    """A fault text that names no fault of this loop.

    Attributes: ``text`` as it was given.
    """

    def __init__(self, message: str, *, text: str = "", hint: str = "") -> None:
        """Keep the text that was refused."""
        super().__init__(message, hint=hint)
        self.text = text


class PhysicsError(DiagnosticsError):
    """A circuit that has no single answer, told in installers' words."""


class CaseError(DiagnosticsError):
    """A case that cannot be read, kept or continued."""


class CaseChangedError(CaseError):
    """The stored case is newer than the one in hand."""


class NotFoundError(DiagnosticsError, LookupError):
    """A name that nothing answers to."""


def join_hint(message: str, hint: str) -> str:
    """Return "message; hint", or the message alone when there is no hint."""
    return f"{message}; {hint}" if hint else message


def find_nearest(word: str, words: Iterable[str]) -> str | None:
    """Return the one of ``words`` that ``word`` was probably meant to be, or None.

    Case does not matter. An exact match is returned as it stands.
    """
    by_folded = {known.casefold(): known for known in sorted(words, reverse=True)}
    found = difflib.get_close_matches(word.casefold()[:80], by_folded, n=1, cutoff=_ALIKE)
    return by_folded[found[0]] if found else None


def quote(text: str) -> str:
    """Return a text in quotes, shortened and without characters that would upset a line of output."""
    shown = "".join(char if char.isprintable() or char == "\u00a0" else "�" for char in text[:60])
    return f"'{shown[:24]}…'" if len(shown) > 25 else f"'{shown}'"
