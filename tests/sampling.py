"""What CI has no time for: there one of so many cases is played; all are wherever else the tests run."""

import os
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")


def in_ci() -> bool:
    """Return whether this is CI."""
    return os.environ.get("CI") == "true"


def sample(every: Sequence[T], one_in: int) -> Sequence[T]:
    """Return all, or where ``CI=true`` the first and every ``one_in``-th after it."""
    return every[:: one_in if in_ci() else 1]
