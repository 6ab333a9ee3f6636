"""Several pieces of work at once: while compiled code or numpy works on large arrays, no other thread has to wait."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
U = TypeVar("U")

THREADS = min(os.cpu_count() or 1, 4)


def work_together(work: Callable[[T], U], pieces: Sequence[T]) -> list[U]:
    """Return what comes of each piece, in their order; the work on one must not change what another looks at."""
    if len(pieces) < 2:
        return [work(piece) for piece in pieces]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(work, pieces))
