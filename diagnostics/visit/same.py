"""What was worked out for one object, kept while that very object is shown: comparing it would take longer."""

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")
_MOST = 16  # objects: those of the screens that are drawn at the same time


class _Same:
    """An object by its identity; held, so that no other one can come in its place."""

    __slots__ = ("held",)

    def __init__(self, held: object) -> None:
        self.held = held

    def __hash__(self) -> int:
        return id(self.held)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.held is other.held


def once(find: Callable[[T], R]) -> Callable[[T], R]:
    """Wrap a pure function of one object that never changes: it is called once for each of the last few."""

    @lru_cache(maxsize=_MOST)
    def look_up(same: _Same) -> R:
        return find(same.held)  # type: ignore[arg-type]  # it was put in as one

    @wraps(find)
    def run(held: T) -> R:
        return look_up(_Same(held))

    return run
