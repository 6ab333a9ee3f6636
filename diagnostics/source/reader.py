"""Read a YAML file into a document, or into findings.

Text stays text ("010", "12:30", "no") until a schema says otherwise.
Codes given here: Y001 unreadable, Y002 too large, Y003 not UTF-8, Y004 control character, Y005 tab, Y006 syntax;
those of ``builder`` besides.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NoReturn

import yaml

from diagnostics.errors import Finding, SourceError
from diagnostics.source.builder import DEEPEST, Builder, EnoughError
from diagnostics.source.document import Document

LARGEST_BYTES: Final = 1_000_000
_EXPLAINED_BYTES = 4_000  # PyYAML's own parser explains better, but its time grows with the square of the text
_EXPLAINED_BRACKETS = 60

# Beyond what YAML forbids: line ends and direction marks that an editor shows other than the parser reads them.
_FORBIDDEN = re.compile(
    "[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff\ud800-\udfff]"
)
_LINE_END = re.compile("\r\n|\r|\n")


def read_file(path: Path) -> Document:
    """Read a UTF-8 file. Raises SourceError, also when there is no such file."""
    file = path.as_posix()
    try:
        if not path.is_file():
            _refuse(file, "Y001", "this is a folder, not a file" if path.is_dir() else "there is no such file")
        with path.open("rb") as stream:
            content = stream.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, SourceError):
            raise
        _refuse(file, "Y001", f"cannot be read: {getattr(error, 'strerror', None) or error}")
    return read_document(_decode(content, file), file)


def read_document(text: str, file: str) -> Document:
    """Read one YAML document from ``text``; ``file`` is only its name in findings.

    Raises SourceError with everything that was found up to the first fault of syntax.
    """
    text = text.removeprefix("\ufeff")
    findings = list(_check_text(text, file))
    if findings:
        raise SourceError(findings)
    builder = Builder(file)
    try:
        for event in yaml.parse(text, Loader=yaml.CSafeLoader):
            builder.take(event)
    except yaml.YAMLError as error:
        builder.findings.append(_explain(text, file, error))
    except EnoughError:
        pass
    if builder.findings:
        raise SourceError(builder.findings)
    return Document(builder.root, builder.places, file, builder.key_places)


def read_content(content: bytes, file: str) -> tuple[Document, str]:
    """Read one YAML document from the bytes of a file, and return it with its text; ``file`` is only its name.

    Raises SourceError.
    """
    text = _decode(content[: LARGEST_BYTES + 1], file)
    return read_document(text, file), text.removeprefix("\ufeff")


def _decode(content: bytes, file: str) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        if len(content) > LARGEST_BYTES:  # the cut may have gone through a character
            return content.decode("utf-8", errors="replace")
        line = content.count(b"\n", 0, error.start) + 1
        _refuse(file, "Y003", f"is not UTF-8 text (line {line})", "is it the right file? text is saved as UTF-8")


def _refuse(file: str, code: str, message: str, hint: str = "") -> NoReturn:
    raise SourceError([Finding(file, 1, 1, code, "error", message, hint)])


def _check_text(text: str, file: str) -> Iterator[Finding]:
    if len(text) > LARGEST_BYTES or len(text.encode("utf-8", "surrogatepass")) > LARGEST_BYTES:
        yield Finding(file, 1, 1, "Y002", "error", "the file is larger than 1 MB")
        return
    for count, match in enumerate(_FORBIDDEN.finditer(text)):
        if count == 20:
            return
        before = _LINE_END.split(text[: match.start()])
        place = (len(before), len(before[-1]) + 1)
        if match[0] == "\t":
            yield Finding(file, *place, "Y005", "error", "a tab stands here", "use spaces")
        else:
            yield Finding(
                file, *place, "Y004", "error", f"control character U+{ord(match[0]):04X} stands here", "take it out"
            )


# A fragment of the parser's words → ours, and what to do.
_SYNTAX = (
    (
        "mapping values are not allowed",
        "a colon does not fit here",
        "check the indentation, or quote text that holds ': '",
    ),
    ("nesting depth", f"nested more than {DEEPEST} deep", ""),
    ("cannot start any token", "this character cannot start a value", "put the text in quotes"),
    ("unexpected end of stream", "the closing quote is missing", ""),
    ("',' or ']'", "this list is not closed, or lacks a comma", "check [ and ]"),
    ("',' or '}'", "this group of keys is not closed, or lacks a comma", "check { and }"),
    ("expected ':'", "a colon is missing after this key", ""),
    ("block end", "this line does not fit the lines above", "check the indentation"),
    ("document start", "this does not belong to what stands above", "check the indentation and the brackets"),
    ("block collection", "this line does not fit the lines above", "check the indentation"),
    ("'-' indicator", "a dash is missing before this entry", ""),
    ("node content", "a value is missing here", "check the commas and brackets"),
    ("escape character", "this backslash escape is unknown", "use single quotes"),
)


def _explain(text: str, file: str, error: yaml.YAMLError) -> Finding:
    better = _find_python_error(text) or error
    mark = getattr(better, "problem_mark", None) or getattr(better, "context_mark", None)
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    problem = str(getattr(better, "problem", None) or "this is not YAML").replace("<", "").replace(">", "")
    known = next((entry for entry in _SYNTAX if entry[0] in problem), None)
    _, message, hint = known or ("", f"this cannot be read: {problem}", "")
    return Finding(file, line, column, "Y013" if "nested" in message else "Y006", "error", message, hint)


def _find_python_error(text: str) -> yaml.YAMLError | None:
    brackets = text.count("[") + text.count("{")
    if len(text) > _EXPLAINED_BYTES or brackets > _EXPLAINED_BRACKETS:
        return None
    try:
        for _ in yaml.parse(text, Loader=yaml.SafeLoader):
            pass
    except yaml.YAMLError as error:
        return error
    return None
