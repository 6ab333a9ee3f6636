"""What is done at detectors, one to a circuit, put together into pieces that are settled at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .measurement import Measurement

Index = NDArray[np.intp]
MOST_COLUMNS = 1024
There = tuple[Measurement, Index]  # something done at a detector, and to which circuits


@dataclass(frozen=True, slots=True)
class Deed:
    """What is done at one detector to some circuits, and what is measured of it."""

    some: tuple[Measurement, ...]
    numbers: Index


def gather_by_place(asked: Sequence[There]) -> list[list[There]]:
    """Return what is asked of the same circuits at the same place, together."""
    there: dict[tuple[str, bytes], list[There]] = {}
    for m, numbers in asked:
        there.setdefault((m.place, numbers.tobytes()), []).append((m, numbers))
    return list(there.values())


def cut_deeds(deeds: Sequence[Deed]) -> list[list[Deed]]:
    """Return deeds in pieces of so many circuits as fit; one that does not fit is a piece of its own."""
    pieces: list[list[Deed]] = []
    size = MOST_COLUMNS
    for deed in deeds:
        if size + deed.numbers.size > MOST_COLUMNS:
            pieces.append([])
            size = 0
        pieces[-1].append(deed)
        size += deed.numbers.size
    return pieces
