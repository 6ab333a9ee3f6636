"""A data file as plain values, with the place of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Tree = dict[str, "Tree"] | list["Tree"] | str | None
Place = tuple[int, int]
TreePath = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """A data file as text, lists and mappings, with the place of every value.

    ``places`` maps the path of a value (keys and indexes from the root) to line and column, both from 1;
    ``key_places`` does the same for the keys of mappings.
    """

    data: Tree
    places: Mapping[TreePath, Place]
    file: str
    key_places: Mapping[TreePath, Place] = field(default_factory=dict)


def find_value(tree: Tree, path: TreePath) -> Tree:
    """Return what stands at ``path``, or None."""
    for part in path:
        if isinstance(tree, dict) and part in tree:
            tree = tree[str(part)]
        elif isinstance(tree, list) and isinstance(part, int) and part < len(tree):
            tree = tree[part]
        else:
            return None
    return tree
