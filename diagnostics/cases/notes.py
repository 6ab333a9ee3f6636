"""Findings gathered while a document is read part by part."""

from dataclasses import dataclass, field
from typing import TypeVar

from pydantic import BaseModel

from diagnostics.errors import Finding, SourceError
from diagnostics.source import Document, Tree, TreePath, find_value, parse_model

M = TypeVar("M", bound=BaseModel)
_ENOUGH = 100


@dataclass(slots=True)
class Notes:
    """The findings so far of one document; only the modules that read a case file write on it."""

    document: Document
    findings: list[Finding] = field(default_factory=list)

    def add(self, path: TreePath, code: str, message: str, hint: str = "") -> None:
        """Note an error at a path, or at the nearest place above it that was written."""
        places = self.document.places
        while path and path not in places:
            path = path[:-1]
        line, column = places.get(path, (1, 1))
        self.findings.append(Finding(self.document.file, line, column, code, "error", message, hint))

    @property
    def is_enough(self) -> bool:
        """Return whether there are more findings than anybody reads; what takes time to check may then stop."""
        return len(self.findings) >= _ENOUGH

    def lay(self, model: type[M], at: TreePath) -> M | None:
        """Return the part at a path as a model, or None with its findings noted."""
        try:
            return parse_model(self.document, model, at=at)
        except SourceError as error:
            self.findings.extend(error.findings)
            return None

    def find(self, key: str) -> Tree:
        """Return what stands under a key of the whole, or None."""
        return find_value(self.document.data, (key,))
