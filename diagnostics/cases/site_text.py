"""A site as YAML text, and back."""

import re
from functools import lru_cache

import yaml

from diagnostics.source import Tree, read_document
from diagnostics.units import write_feet
from diagnostics.wiring import Site, parse_site

_WIDTH = 120
_LENGTHS = frozenset({"run", "back_run", "module_run"})
_LONGEST_KEPT = 50_000  # characters
# What the reader refuses, and PyYAML would write as it stands: line ends of other scripts, marks of direction.
_UNSEEN = re.compile("[\x85\u2028\u2029\u202a-\u202e\u2066-\u2069]")


def write_site(site: Site) -> str:
    """Return a site as YAML; ``parse_site_text`` reads it back equal.

    Quantities come out in SI units without a unit sign, as the site file takes them; a length that was given in feet
    comes out in feet, so that whoever measured it finds it again.
    """
    return write_tree(_build_tree(site.model_dump(mode="json", exclude_defaults=True)))


def parse_site_text(text: str, name: str) -> Site:
    """Return the site of a text; ``name`` stands for the file in findings. Raises SourceError.

    A case is put together at every tap, and its site is the same text each time: the last few are kept.
    """
    return _parse_kept(text, name) if len(text) < _LONGEST_KEPT else _parse(text, name)


def _parse(text: str, name: str) -> Site:
    return parse_site(read_document(text, name))


_parse_kept = lru_cache(maxsize=32)(_parse)


def write_tree(tree: Tree) -> str:
    """Return texts, lists and mappings as YAML, in their order, quoted where a plain text would read otherwise.

    Innermost groups stand in one line. What nobody can see is escaped, since the reader refuses it otherwise.
    """
    text = _dump(tree, allow_unicode=True)
    return _dump(tree, allow_unicode=False) if _UNSEEN.search(text) else text


def _dump(tree: Tree, *, allow_unicode: bool) -> str:
    return yaml.safe_dump(tree, allow_unicode=allow_unicode, sort_keys=False, width=_WIDTH, default_flow_style=None)


def _build_tree(value: object) -> Tree:
    if isinstance(value, dict):
        return {str(key): _write_length(part) if key in _LENGTHS else _build_tree(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_build_tree(part) for part in value]
    return None if value is None else repr(value) if isinstance(value, float) else str(value)


def _write_length(value: object) -> Tree:
    """Return a length (m) as text, in feet where it was given so."""
    return (write_feet(value) if isinstance(value, float) else "") or _build_tree(value)
