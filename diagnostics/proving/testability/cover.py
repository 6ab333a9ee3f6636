"""The fewest columns that cover every row, and the cheapest: set cover by integer programming, each with its proof.

A row is a set of columns as bits: any one of them will do. Rows that hold all of another row ask nothing beside it and
are left out first (dominance), so that what goes to the solver is small.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import coo_array, csr_array, eye_array, hstack, vstack

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Bits = NDArray[np.uint64]
WORD: Final = 64
_EXACT: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Work:
    """What columns cost: ``minutes`` each, (column,), and once for each place where any of them is, (place,).

    ``at`` is the number of each column's place, -1 for one that costs nothing more; ``round_minutes`` come on top once,
    as soon as there is any place.
    """

    minutes: Array
    at: Index
    place_minutes: Array
    round_minutes: float

    def add_up(self, chosen: Index) -> float:
        """Return the minutes of some columns together."""
        places = np.unique(self.at[chosen][self.at[chosen] >= 0])
        travel = float(self.place_minutes[places].sum()) + (self.round_minutes if places.size else 0.0)
        return float(self.minutes[chosen].sum()) + travel


@dataclass(frozen=True, slots=True)
class Cover:
    """Columns that cover every row: ``value`` is their number or minutes, and no cover has less than ``bound``."""

    chosen: tuple[int, ...]
    value: float
    bound: float

    @property
    def is_proved(self) -> bool:
        """Return whether no better cover exists."""
        return self.value <= self.bound + _EXACT


def pack_rows(rows: Flags) -> Bits:
    """Return rows of flags, (row, column), as bits, (row, word)."""
    wide = np.zeros((rows.shape[0], -(-rows.shape[1] // WORD) * WORD), dtype=np.uint8)
    wide[:, : rows.shape[1]] = rows
    return np.packbits(wide, axis=1, bitorder="little").view(np.uint64)


def unpack_rows(bits: Bits, columns: int) -> Flags:
    """Return bits, (row, word), as rows of flags, (row, column)."""
    wide = np.unpackbits(np.ascontiguousarray(bits).view(np.uint8), axis=1, bitorder="little")
    return wide[:, :columns].astype(np.bool_)


def reduce_rows(bits: Bits) -> Bits:
    """Return the rows that ask something: no empty ones, none twice, none that holds all of another."""
    rows = np.unique(bits[bits.any(axis=1)], axis=0)
    rest = rows[np.argsort(np.bitwise_count(rows).sum(axis=1), kind="stable")]
    kept = []
    while rest.shape[0]:
        kept.append(rest[0])
        rest = rest[((rest & rest[0]) != rest[0]).any(axis=1)]
    return np.array(kept, dtype=np.uint64).reshape(-1, bits.shape[1])


def find_fewest(rows: Flags, seconds: float) -> Cover:
    """Return the fewest columns that cover every row, as far as that many seconds allow.

    Raises
    ------
    ValueError
        A row is empty: nothing covers it.
    """
    columns = rows.shape[1]
    found = _solve(np.ones(columns), csr_array(rows.astype(np.float64)), np.ones(rows.shape[0]), seconds)
    chosen = _read(found, rows)
    bound = math.ceil(_read_bound(found) - _EXACT)
    return Cover(tuple(map(int, chosen)), float(chosen.size), float(min(bound, chosen.size)))


def find_quickest(rows: Flags, work: Work, seconds: float, most: int | None = None) -> Cover:
    """Return the columns of least minutes that cover every row, not more than ``most`` of them.

    Raises
    ------
    ValueError
        A row is empty: nothing covers it, or not with so few.
    """
    columns, places = rows.shape[1], work.place_minutes.size
    cost = np.concatenate([work.minutes, work.place_minutes, [work.round_minutes]])
    away = np.flatnonzero(work.at >= 0)
    wide = hstack([csr_array(rows.astype(np.float64)), csr_array((rows.shape[0], places + 1))])
    there = coo_array(
        (
            np.tile([1.0, -1.0], away.size),
            (np.repeat(np.arange(away.size), 2), np.stack([columns + work.at[away], away], axis=1).ravel()),
        ),
        shape=(away.size, columns + places + 1),
    )
    begun = hstack([csr_array((places, columns)), -eye_array(places), csr_array(np.ones((places, 1)))])
    few = csr_array(np.concatenate([-np.ones(columns), np.zeros(places + 1)])[None])
    least = np.concatenate(
        [np.ones(rows.shape[0]), np.zeros(away.size + places), [-float(columns if most is None else most)]]
    )
    found = _solve(cost, csr_array(vstack([wide, there, begun, few])), least, seconds)
    chosen = _read(found, rows, most)
    value = work.add_up(chosen)
    return Cover(tuple(map(int, chosen)), value, min(_read_bound(found), value))


def _solve(cost: Array, matrix: "csr_array[np.float64]", least: Array, seconds: float) -> OptimizeResult:
    """Solve for zeros and ones of least cost with matrix · x ≥ least."""
    return milp(
        cost,
        integrality=np.ones(cost.size, dtype=np.int64),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, least, np.inf),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )


def _read_bound(found: OptimizeResult) -> float:
    return 0.0 if found.mip_dual_bound is None else float(found.mip_dual_bound)


def _read(found: OptimizeResult, rows: Flags, most: int | None = None) -> Index:
    """Return the columns of a solution, checked in whole numbers; a greedy choice where there was none in time."""
    if not rows.any(axis=1).all() or found.status == 2:
        raise ValueError("nothing covers a row")
    chosen = _choose_greedily(rows) if found.x is None else np.flatnonzero(found.x[: rows.shape[1]] > 0.5)
    if not rows[:, chosen].any(axis=1).all() or (most is not None and chosen.size > most):
        raise ValueError("not found in time")
    return chosen


def _choose_greedily(rows: Flags) -> Index:
    chosen, rest = [], rows
    while rest.shape[0]:
        chosen.append(int(rest.sum(axis=0).argmax()))
        rest = rest[~rest[:, chosen[-1]]]
    return np.array(sorted(chosen), dtype=np.intp)
