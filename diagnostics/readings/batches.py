"""All hypotheses as circuits: which share one, which are solved together, how each stands in a mode, settled once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import STANDBY, Mode, Point, Settled, apply_steps, build_network, build_steps, settle_from_rest
from diagnostics.faults import Fault, build_all_edits, name_edits
from diagnostics.wiring import EARTH, Add, Edits, Loop

Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(slots=True)
class _Stand:
    """Circuits of a batch in one mode: which are settled there so far (``known``), and how they stand."""

    known: Flags
    settled: Settled


class _Batch:
    """Circuits that are solved together, one a column."""

    def __init__(self, loop: Loop, edits: Sequence[Edits]) -> None:
        standby = settle_from_rest(build_network(loop, edits))
        self._stands = {STANDBY.word: _Stand(np.ones(len(edits), dtype=np.bool_), standby)}

    def take(self, columns: Index, mode: Mode) -> Settled:
        """Return some columns in a mode; each is settled there when it is first asked for."""
        standby = self._stands[STANDBY.word].settled
        if mode.text not in self._stands:
            self._stands[mode.text] = _Stand(np.zeros(standby.columns.size, dtype=np.bool_), _copy(standby))
        stand = self._stands[mode.text]
        missing = np.unique(columns[~stand.known[columns]])
        if missing.size:
            fresh = apply_steps(standby.take(missing), build_steps(mode, standby.network.loop))
            _put(stand, missing, fresh)
        return stand.settled.take(columns)


def _copy(s: Settled) -> Settled:
    point = Point(s.point.volts.copy(), s.point.segment.copy())
    return Settled(s.network, s.columns, s.signals.copy(), point, s.chatter)


def _put(stand: _Stand, columns: Index, fresh: Settled) -> None:
    """Write columns that were settled into their place."""
    old = stand.settled
    old.signals[:, columns] = fresh.signals
    old.point.volts[:, columns], old.point.segment[:, columns] = fresh.point.volts, fresh.point.segment
    stand.known[columns] = True


class Batches:
    """Every hypothesis as a circuit, by number: ``circuit`` (hypothesis,).

    Hypotheses with the same edits are one circuit, which is solved once: they differ in what eyes find. Circuits in
    which a fault ties distant terminals together are a batch of their own: one such edge in the union of all circuits
    would cost every circuit the short order of elimination that a loop has. ``earthed`` (circuit,) says which join
    something to earth;
    ``touched`` (circuit,) are the names of the elements and signals that each edits.
    """

    def __init__(self, loop: Loop, hypotheses: Sequence[tuple[Fault, ...]]) -> None:
        """Wire up and settle in standby; raises PhysicsError where a hypothesis does not fit the loop."""
        edits = [build_all_edits(loop, h) for h in hypotheses]
        circuits = {own: n for n, own in enumerate(dict.fromkeys(edits))}
        self.circuit: Index = np.array([circuits[own] for own in edits], dtype=np.intp)
        self.touched = tuple(name_edits(own) for own in circuits)
        self.earthed: Flags = np.array([_is_earthed(own) for own in circuits], dtype=np.bool_)
        ties = {own: any(f.ties_apart for f in h) for own, h in zip(edits, hypotheses, strict=True)}
        self._batch_of: Index = np.array([int(ties[own]) for own in circuits], dtype=np.intp)
        self._column: Index = np.where(self._batch_of, np.cumsum(self._batch_of), np.cumsum(1 - self._batch_of)) - 1
        self._batches = {
            number: _Batch(loop, [c for c in circuits if ties[c] == number])
            for number in sorted(set(self._batch_of.tolist()))
        }

    @property
    def size(self) -> int:
        """Return how many circuits there are."""
        return int(self._column.size)

    def part(self, circuits: Index) -> list[Index]:
        """Return circuits batch by batch."""
        parts = [circuits[self._batch_of[circuits] == number] for number in self._batches]
        return [part for part in parts if part.size]

    def find_batch(self, circuits: Index) -> int:
        """Return the number of the batch of some circuits, all of one."""
        return int(self._batch_of[circuits[0]])

    def take(self, circuits: Index, mode: Mode = STANDBY) -> Settled:
        """Return some circuits of one batch in a mode."""
        return self._batches[self.find_batch(circuits)].take(self._column[circuits], mode)


def _is_earthed(edits: Edits) -> bool:
    return any(isinstance(edit, Add) and EARTH in (edit.element.a, edit.element.b) for edit in edits)
