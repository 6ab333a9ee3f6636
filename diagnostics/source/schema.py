"""Lay a pydantic model over a document, and say what does not fit, where.

Codes given here: S001 missing key, S002 unknown key, S003 wrong kind, S004 outside its limits, S005 unknown word,
S006 a value not understood, S007 any other rule of the model.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from diagnostics.errors import DiagnosticsError, Finding, SourceError, find_nearest, quote
from diagnostics.source.document import Document, Tree, TreePath, find_value

M = TypeVar("M", bound=BaseModel)

# Kind of pydantic's complaint → our code and words; braces take the facts it brings.
_KINDS: dict[str, tuple[str, str]] = {
    "string_type": ("S003", "text is wanted"),
    "greater_than": ("S004", "must be more than {gt}"),
    "greater_than_equal": ("S004", "must be at least {ge}"),
    "less_than": ("S004", "must be less than {lt}"),
    "less_than_equal": ("S004", "must be at most {le}"),
    "too_short": ("S004", "must have at least {min_length} entries"),
    "too_long": ("S004", "must have at most {max_length} entries"),
    "string_too_short": ("S004", "must have at least {min_length} characters"),
    "string_too_long": ("S004", "must have at most {max_length} characters"),
    "string_pattern_mismatch": ("S004", "must follow the pattern {pattern}"),
}
_KINDS |= dict.fromkeys(("bool_type", "bool_parsing"), ("S003", "yes or no is wanted"))
_KINDS |= dict.fromkeys(
    ("int_type", "int_parsing", "int_from_float", "int_parsing_size"), ("S003", "a whole number is wanted")
)
_KINDS |= dict.fromkeys(("float_type", "float_parsing", "finite_number"), ("S003", "a number is wanted"))
_KINDS |= dict.fromkeys(
    ("date_type", "date_parsing", "date_from_datetime_parsing", "datetime_type", "datetime_parsing"),
    ("S003", "a date is wanted, such as 2026-03-14"),
)
_KINDS |= dict.fromkeys(("list_type", "tuple_type", "set_type", "frozen_set_type"), ("S003", "a list is wanted"))
_KINDS |= dict.fromkeys(
    ("dict_type", "model_type", "model_attributes_type", "mapping_type", "dataclass_type"),
    ("S003", "a group of keys is wanted"),
)


def parse_model(document: Document, model: type[M], *, at: TreePath = ()) -> M:
    """Return the part of ``document`` at the path ``at`` as a ``model``.

    Raises SourceError with every complaint at its own line and column.
    """
    if at and at not in document.places:
        message = f"{quote(str(at[-1]))} is missing"
        raise SourceError([_build_finding(document, at, "S001", message)])
    try:
        return model.model_validate(find_value(document.data, at))
    except ValidationError as error:
        details = error.errors(include_url=False)
    raise SourceError(_translate(document, model, at, detail) for detail in details)


def _build_finding(document: Document, path: TreePath, code: str, message: str, hint: str = "") -> Finding:
    places = document.key_places if code == "S002" else document.places
    line, column = places.get(_resolve(document, path), (1, 1))
    return Finding(document.file, line, column, code, "error", message, hint)


def _resolve(document: Document, path: TreePath) -> TreePath:
    """Return where the document holds the value that a complaint is about.

    Pydantic puts the tags of unions between the keys. A tag that is also a key there must not lead astray, so a path
    that holds with one part left out goes before the longest that can be walked.
    """
    shortened = (path[:index] + path[index + 1 :] for index in reversed(range(len(path) - 1)))
    found = next((candidate for candidate in (path, *shortened) if candidate in document.places), None)
    return _walk(document, path) if found is None else found


def _walk(document: Document, path: TreePath) -> TreePath:
    found: TreePath = ()
    for part in path:
        if (*found, part) in document.places:
            found = (*found, part)
    return found


def _find_written(document: Document, path: TreePath) -> Tree:
    return find_value(document.data, _resolve(document, path))


def _translate(document: Document, model: type[BaseModel], at: TreePath, detail: ErrorDetails) -> Finding:
    path = (*at, *detail["loc"])
    name = quote(str(path[-1])) if path else ""
    match detail["type"]:
        case "missing":
            return _build_finding(document, _walk(document, path[:-1]), "S001", f"{name} is missing")
        case "extra_forbidden":
            hint = _suggest(str(path[-1]), find_keys(model, detail["loc"]))
            return _build_finding(document, path, "S002", f"unknown key {name}", hint)
        case "literal_error" | "enum" | "union_tag_invalid" | "union_tag_not_found":
            return _refuse_word(document, path, detail)
        case "value_error" | "assertion_error":
            return _pass_on(document, path, detail.get("ctx", {}).get("error"))
        case _:
            return _describe(document, path, detail)


def _pass_on(document: Document, path: TreePath, error: object) -> Finding:
    subject = f"{path[-1]}: " if path and isinstance(path[-1], str) else ""
    if isinstance(error, DiagnosticsError):
        return _build_finding(document, path, "S006", subject + error.message, error.hint)
    return _build_finding(document, path, "S007", f"{subject}{error}")


def _describe(document: Document, path: TreePath, detail: ErrorDetails) -> Finding:
    fallback = detail["msg"].removeprefix("Input ").removeprefix("Value ")
    code, words = _KINDS.get(detail["type"], ("S007", fallback))
    facts = {name: f"{fact:g}" if isinstance(fact, float) else fact for name, fact in detail.get("ctx", {}).items()}
    message = words.format_map(facts) if detail["type"] in _KINDS else words
    subject = f"{path[-1]}: " if path and isinstance(path[-1], str) else ""
    return _build_finding(
        document, path, code, f"{subject}{message}, not {_describe_value(_find_written(document, path))}"
    )


def _describe_value(value: Tree) -> str:
    if isinstance(value, str):
        return quote(value)
    if value is None:
        return "nothing"
    return f"a list of {len(value)}" if isinstance(value, list) else "a group of keys"


def _refuse_word(document: Document, path: TreePath, detail: ErrorDetails) -> Finding:
    facts = detail.get("ctx", {})
    path = _resolve(document, path)
    if "discriminator" in facts:
        parent, path = path, (*path, str(facts["discriminator"]).strip("'"))
        if path not in document.places:
            return _build_finding(document, parent, "S001", f"{quote(str(path[-1]))} is missing")
    word = find_value(document.data, path)
    known = re.findall(r"'([^']*)'", str(facts.get("expected_tags") or facts.get("expected")))
    hint = (_suggest(word, known) if isinstance(word, str) else "") or f"known are {', '.join(known)}"
    return _build_finding(document, path, "S005", f"{path[-1]}: {_describe_value(word)} is not known here", hint)


def _suggest(word: str, words: list[str]) -> str:
    near = find_nearest(word, words)
    return f"did you mean {quote(near)}?" if near else ""


def find_keys(model: type[BaseModel], path: TreePath) -> list[str]:
    """Return the keys that the model at ``path`` (of a complaint's key) would take."""
    models = {model}
    for part in path[:-1]:
        fields = [
            info.annotation for each in models for name, info in each.model_fields.items() if part in (name, info.alias)
        ]
        models = {found for annotation in fields for found in _find_models(annotation)} or models
    return sorted({info.alias or name for each in models for name, info in each.model_fields.items()})


def _find_models(annotation: Any) -> Iterator[type[BaseModel]]:  # noqa: ANN401 - annotations are of any kind
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _find_models(inner)
