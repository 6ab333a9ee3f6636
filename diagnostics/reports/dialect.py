"""One dialect at a time: words that the other side of the ocean uses are put in one's own, wherever they stand."""

import re
from collections.abc import Mapping
from typing import Any


def swap_words(text: str, spoken: Mapping[str, str]) -> str:
    """Return a text with whole words exchanged; what stands in braces is filled in later and stays."""
    for word, own in spoken.items():
        text = re.sub(rf"(?<![{{\w]){re.escape(word)}(?![}}\w])", own, text)
    return text


def swap_all(tree: Any, spoken: Mapping[str, str]) -> Any:  # noqa: ANN401 - whatever a data file holds
    """Return a tree of texts with words exchanged in each of them; names of entries stay."""
    if isinstance(tree, str):
        return swap_words(tree, spoken)
    if isinstance(tree, Mapping):
        return {name: swap_all(value, spoken) for name, value in tree.items()}
    return tuple(swap_all(value, spoken) for value in tree) if isinstance(tree, list | tuple) else tree
