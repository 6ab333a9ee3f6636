"""Build a document from the events of libyaml's parser, refusing what would surprise its author.

Events are read rather than a tree of nodes: a limit can then stop a hostile file at once.
Codes given here: Y007 anchor or alias, Y008 tag, Y009 merge key, Y010 repeated key, Y011 key that is no text,
Y012 several documents, Y013 too deep, Y014 too many values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NoReturn

import yaml

from diagnostics.errors import Finding, quote
from diagnostics.source.document import Place, Tree, TreePath

DEEPEST: Final = 30
MOST_VALUES: Final = 50_000
_MOST_FINDINGS = 100
_NULLS = frozenset({"", "~", "null", "Null", "NULL"})


class EnoughError(Exception):
    """Stops the reading at a limit; the finding has been noted."""


@dataclass(slots=True)
class _Frame:
    """A list or mapping that is still being read; a hidden one is read for its faults only."""

    container: dict[str, Tree] | list[Tree]
    path: TreePath
    hidden: bool
    is_key: bool = False
    has_key: bool = False
    key: str | None = None  # None with has_key: a refused key, whose value is hidden

    def wants_key(self) -> bool:
        return isinstance(self.container, dict) and not self.has_key


class Builder:
    """Builds the tree and its places from the parser's events."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.findings: list[Finding] = []
        self.places: dict[TreePath, Place] = {}
        self.key_places: dict[TreePath, Place] = {}
        self.root: Tree = None
        self._stack: list[_Frame] = []
        self._values = 0
        self._documents = 0

    def take(self, event: yaml.Event) -> None:
        """Use one event. Raises EnoughError at a limit."""
        match event:
            case yaml.ScalarEvent():
                self._check_node(event)
                self._take_scalar(event)
            case yaml.AliasEvent():
                self._complain(event, "Y007", "aliases (*) are not used here", "write the value out")
                self._place(None, event)
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                self._check_node(event)
                self._open({} if isinstance(event, yaml.MappingStartEvent) else [], event)
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                self._close()
            case yaml.DocumentStartEvent():
                self._documents += 1
                if self._documents > 1:
                    self._stop(event, "Y012", "a second document starts here", "one document a file")
            case _:
                pass

    def _complain(self, event: yaml.Event, code: str, message: str, hint: str = "") -> None:
        self.findings.append(Finding(self.file, *_place_of(event), code, "error", message, hint))
        if len(self.findings) >= _MOST_FINDINGS:
            raise EnoughError

    def _stop(self, event: yaml.Event, code: str, message: str, hint: str = "") -> NoReturn:
        self._complain(event, code, message, hint)
        raise EnoughError

    def _check_node(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> None:
        self._values += 1
        if self._values > MOST_VALUES:
            self._stop(event, "Y014", f"more than {MOST_VALUES} values in one file")
        if event.anchor is not None:
            self._complain(event, "Y007", "anchors (&) are not used here", "take it out, or quote the text")
        if event.tag is not None:
            self._complain(event, "Y008", "tags (!) are not used here", "take it out, or quote the text")

    def _take_scalar(self, event: yaml.ScalarEvent) -> None:
        is_null = event.implicit[0] and event.value in _NULLS  # implicit[0]: written without quotes
        if self._stack and self._stack[-1].wants_key():
            self._take_key(event, self._stack[-1], is_null=is_null)
        else:
            self._place(None if is_null else event.value, event)

    def _take_key(self, event: yaml.ScalarEvent, frame: _Frame, *, is_null: bool) -> None:
        frame.has_key, frame.key = True, None
        path = (*frame.path, event.value)
        if is_null:
            self._complain(event, "Y011", "a key is missing before the colon")
        elif event.value == "<<" and event.implicit[0]:
            self._complain(event, "Y009", "merge keys (<<) are not used here", "write the keys out")
        elif event.value in frame.container:
            first = "" if frame.hidden else f", first at line {self.key_places[path][0]}"
            self._complain(event, "Y010", f"key {quote(event.value)} stands here twice{first}", "keep one of them")
        else:
            frame.key = event.value
            if not frame.hidden:
                self.key_places[path] = _place_of(event)

    def _place(self, value: Tree, event: yaml.Event) -> tuple[TreePath, bool]:
        """Put a value where the reading stands; return its path and whether it is hidden."""
        path: TreePath = ()
        hidden = False
        if self._stack:
            path, hidden = _put(self._stack[-1], value)
        else:
            self.root = value
        if not hidden:
            self.places[path] = _place_of(event)
        return path, hidden

    def _open(self, container: dict[str, Tree] | list[Tree], event: yaml.Event) -> None:
        if len(self._stack) >= DEEPEST:
            self._stop(event, "Y013", f"nested more than {DEEPEST} deep")
        if self._stack and self._stack[-1].wants_key():
            self._complain(event, "Y011", "a key must be text", "quote text that starts with [ or {")
            self._stack.append(_Frame(container, (), hidden=True, is_key=True))
            return
        path, hidden = self._place(container, event)
        self._stack.append(_Frame(container, path, hidden))

    def _close(self) -> None:
        if self._stack.pop().is_key:
            self._stack[-1].has_key, self._stack[-1].key = True, None


def _put(frame: _Frame, value: Tree) -> tuple[TreePath, bool]:
    if isinstance(frame.container, list):
        frame.container.append(value)
        return (*frame.path, len(frame.container) - 1), frame.hidden
    if not frame.has_key:  # an alias where a key should stand
        frame.has_key, frame.key = True, None
        return frame.path, True
    frame.has_key = False
    if frame.key is None:
        return frame.path, True
    frame.container[frame.key] = value
    return (*frame.path, frame.key), frame.hidden


def _place_of(event: yaml.Event) -> Place:
    mark = event.start_mark
    return (mark.line + 1, mark.column + 1) if mark else (1, 1)
