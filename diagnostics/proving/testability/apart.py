"""Which measurement tells which two hypotheses apart: a row of bits for every pair, a column for every measurement."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Bench, Measurement
from diagnostics.reasoning import APART, rate_differences

from .cover import WORD, Bits

Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
_TOGETHER = 8


@dataclass(frozen=True, slots=True)
class Apart:
    """Every pair of hypotheses, (pair,) each, and which measurements tell the two apart, (pair, word), as bits."""

    first: Index
    second: Index
    bits: Bits

    @property
    def sound(self) -> Bits:
        """Return the pairs of the sound loop, hypothesis 0, with each fault in order, (fault, word)."""
        rows: Bits = self.bits[self.first == 0]
        return rows


def tell_apart(bench: Bench, measurements: Sequence[Measurement]) -> Apart:
    """Return which measurement tells which two apart by d′ of 2 or more; *healthy* must be hypothesis 0."""
    first, second = np.triu_indices(len(bench.hypotheses), 1)
    bits = np.zeros((first.size, -(-len(measurements) // WORD)), dtype=np.uint64)
    for low in range(0, len(measurements), _TOGETHER):
        for n, forecast in enumerate(bench.forecast_all(measurements[low : low + _TOGETHER]), low):
            told = rate_differences(forecast, bench.meter)[first, second] >= APART
            bits[:, n // WORD] |= told.astype(np.uint64) << np.uint64(n % WORD)
    return Apart(first, second, bits)
