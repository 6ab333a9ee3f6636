"""Lay a pydantic model over a document, and say what does not fit, where.

Codes given here: S001 missing key, S002 unknown key, S003 wrong kind, S004 outside its limits, S005 unknown word,
S006 a value not understood, S007 any other rule of the model.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final, Generic, TypeVar, get_args

from pydantic import BaseModel, ValidationError, ValidationInfo
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
    "too_short": ("S004", "must have {min_length} or more entries"),
    "too_long": ("S004", "must have at most {max_length} entries"),
    "string_too_short": ("S004", "must have {min_length} or more characters"),
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
    raise SourceError(f for detail in details for f in _translate(document, model, at, detail))


class RulesBrokenError(ValueError):
    """Several rules that one group of keys breaks at once; attributes: ``rules``, each a sentence.

    A validator raises it where every rule is to be told: pydantic itself keeps the first of a validator.
    """

    def __init__(self, rules: Iterable[str]) -> None:
        """Keep the sentences."""
        self.rules = tuple(rules)
        super().__init__("; ".join(self.rules))


def check_rules(rules: Iterable[str], info: ValidationInfo) -> None:
    """Raise RulesBrokenError where a validator has found that rules are broken, but for those that are known already.

    Those that ``lay_model`` knows are in the context of the validation; what stands is validated past them.
    """
    known = info.context if isinstance(info.context, set) else frozenset()
    broken = tuple(rule for rule in rules if rule not in known)
    if broken:
        raise RulesBrokenError(broken)


@dataclass(frozen=True, slots=True)
class Laid(Generic[M]):
    """As much of a document as a model takes: None where too little is left, and what does not fit."""

    model: M | None
    findings: tuple[Finding, ...]


def lay_model(document: Document, model: type[M]) -> Laid[M]:
    """Return a document as a ``model``, with whatever does not fit left out, so that the rest can be checked further.

    What only seems wrong because something else was left out is not told.
    """
    tree = copy.deepcopy(document.data)
    findings: list[Finding] = []
    cuts: set[TreePath] = set()
    known: set[str] = set()
    while True:
        try:
            return Laid(model.model_validate(tree, context=known), tuple(findings))
        except ValidationError as error:
            details = error.errors(include_url=False)
        subjects = [(_find_subject(document, detail), detail) for detail in details]
        findings += [
            finding
            for path, detail in subjects
            if not any(_is_beside(cut, path) for cut in cuts)
            for finding in _translate(document, model, (), detail)
        ]
        known |= {rule for detail in details for rule in _list_rules(detail)}
        new = {_find_cut(path) for path, detail in subjects if not _list_rules(detail)}
        if () in new or new & cuts:
            return Laid(None, tuple(findings))
        for cut in new:
            _cut(tree, cut)
        cuts |= new


def _list_rules(detail: ErrorDetails) -> tuple[str, ...]:
    error = detail.get("ctx", {}).get("error")
    return error.rules if isinstance(error, RulesBrokenError) else ()


def _find_subject(document: Document, detail: ErrorDetails) -> TreePath:
    """Return the path of the value that a complaint is about; of a missing key, that of the group without it."""
    path = tuple(detail["loc"])
    return _walk(document, path[:-1]) if detail["type"] == "missing" else _resolve(document, path)


def _is_beside(cut: TreePath, path: TreePath) -> bool:
    """Return whether something was left out that a complaint about ``path`` may have looked at.

    A rule looks at the keys of its own group, or of each in its list; one of a field also at what stands beside it.
    """
    if cut[: len(path)] == path and _count_keys(cut[len(path) :]) <= 1:
        return True
    around = path[:-1]
    return (
        bool(path)
        and isinstance(path[-1], str)
        and cut[: len(around)] == around
        and (cut[: len(path)] != path and _count_keys(cut[len(around) :]) <= _LOOKED_BESIDE)
    )


_LOOKED_BESIDE: Final = 3  # the field beside, a name in it, and a key of that: zones, zone1, senses


def _count_keys(path: TreePath) -> int:
    return sum(isinstance(part, str) for part in path)


def _find_cut(path: TreePath) -> TreePath:
    """Return what to leave out for a value that does not fit: it, or the whole list that it stands in."""
    while path and isinstance(path[-1], int):
        path = path[:-1]
    return path


def _cut(tree: Tree, path: TreePath) -> None:
    group = find_value(tree, path[:-1])
    if isinstance(group, dict):
        group.pop(str(path[-1]), None)


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


def _translate(document: Document, model: type[BaseModel], at: TreePath, detail: ErrorDetails) -> tuple[Finding, ...]:
    rules = _list_rules(detail)
    if rules:
        return tuple(_pass_on(document, (*at, *detail["loc"]), rule) for rule in rules)
    return (_translate_one(document, model, at, detail),)


def _translate_one(document: Document, model: type[BaseModel], at: TreePath, detail: ErrorDetails) -> Finding:
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
    written = _resolve(document, path)  # without the tags of unions
    subject = f"{written[-1]}: " if written and isinstance(written[-1], str) else ""
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
    words = re.findall(r"'([^']*)'", str(facts.get("expected_tags") or facts.get("expected")))
    known = [one for one in words if one]  # what may also be left empty is left out
    hint = (_suggest(word, known) if isinstance(word, str) else "") or f"known are {', '.join(known)}"
    name = next((part for part in reversed(path) if isinstance(part, str)), "")  # of a list, the key that it is under
    return _build_finding(document, path, "S005", f"{name}: {_describe_value(word)} is not known here", hint)


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
