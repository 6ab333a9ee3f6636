"""The detectors of a loop as arrays, so that what all of them do next is found at once."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.wiring import Loop

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Heads:
    """Nodes and numbers of signals of each detector, (detector,), and what it goes by, (detector, 1)."""

    plus: Index
    minus: Index
    dead: Index
    head_off: Index
    smoke: Index
    latched: Index
    powered_v: Array
    release_v: Array
    either_way: Flags
    is_contact: Flags

    def follow(self, signals: Flags, volts: Array, hurried: Flags) -> Flags:
        """Return which detectors latch, or stay so, at these volts, (detector, column).

        Where the supply is back before a latch lets go (``hurried``, by column) low volts do not release it.
        """
        there = ~signals[self.dead] & ~signals[self.head_off]
        smoke = signals[self.smoke]
        across = volts[self.plus] - volts[self.minus]
        across = np.where(self.either_way, np.abs(across), across)
        latches = signals[self.latched] | (smoke & (across >= self.powered_v))
        keeps: Flags = np.where(self.is_contact, smoke, latches & ((across >= self.release_v) | hurried)) & there
        return keeps


def build_heads(loop: Loop, node: Mapping[str, int], signal: Mapping[str, int]) -> Heads:
    """Return the detectors of a loop, in its order, with nodes and signals by number."""
    every = loop.detectors
    ends = np.array([(node[d.plus], node[d.minus]) for d in every], dtype=np.intp).reshape(-1, 2).T
    words = ("dead", "head_off", "smoke", "latched")
    rows = np.array([[signal[f"{d.name}.{word}"] for d in every] for word in words], dtype=np.intp)
    volts = np.array([(d.powered_v, d.release_v) for d in every], dtype=np.float64).reshape(-1, 2).T[:, :, None]
    kinds = np.array([(d.either_way, d.is_contact) for d in every], dtype=np.bool_).reshape(-1, 2).T[:, :, None]
    return Heads(ends[0], ends[1], rows[0], rows[1], rows[2], rows[3], volts[0], volts[1], kinds[0], kinds[1])
