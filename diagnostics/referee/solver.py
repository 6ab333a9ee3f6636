"""The referee's own solver: node volts and branch currents of one circuit in one sparse table, by Newton's method.

It shares nothing with the engine but the words of a part. A part of few ohms has its current among the unknowns, so
that a joint of a milliohm beside an insulation of a teraohm costs no digits; a part of many ohms is a conductance.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

Row = dict[str, Any]
Volts = Mapping[str, float]
Array = NDArray[np.float64]
Count = NDArray[np.intp]
_Entries = tuple[Count, Count, Array]  # rows, columns, values; a row or column of earth is below nought

EARTH = "earth"
# From this conductance up (S) the current of a part is an unknown of its own.
STIFF_S = 1e-5
WHOLE_STEPS, MOST_STEPS, HALVINGS = 40, 200, 60
CORNER_V, CORNER_A = 1e-9, 1e-14


class NoAnswerError(ArithmeticError):
    """Newton's method found no operating point."""


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Parts as arrays: ends by number (-1 is earth), corners of their curves, and each segment's line."""

    names: tuple[str, ...]
    ends: tuple[Count, Count]
    corners: tuple[Array, ...]
    lines: tuple[Array, ...]  # (segment, 3): volts, amperes and slope of a point on it
    curved: tuple[int, ...]


def solve_parts(parts: Sequence[Row], near: Volts | None = None) -> Volts:
    """Return the volts of every terminal to earth of parts that all conduct; ``near`` is where to begin to look.

    Raises
    ------
    NoAnswerError
        No operating point was found.
    """
    table = _read_table(parts)
    across_v = _find_across(table, np.array([(near or {}).get(name, 0.0) for name in table.names]))
    chosen = _find_segments(table, across_v)
    for step in range(MOST_STEPS):
        node_v, part_a = _solve_linear(table, chosen)
        new_v = _find_across(table, node_v)
        if _fits(table, chosen, new_v, part_a):
            return {name: float(v) for name, v in zip(table.names, node_v, strict=True)} | {EARTH: 0.0}
        share = 1.0 if step < WHOLE_STEPS else _find_share(table, across_v, new_v)
        across_v = across_v + share * (new_v - across_v)
        chosen = _find_segments(table, across_v)
    raise NoAnswerError(f"no operating point of {len(parts)} parts was found")


def _read_table(parts: Sequence[Row]) -> _Table:
    names = tuple(dict.fromkeys(p[end] for p in parts for end in ("a", "b") if p[end] != EARTH))
    number = {name: n for n, name in enumerate(names)} | {EARTH: -1}
    ends = tuple(np.array([number[p[end]] for p in parts], dtype=np.intp) for end in ("a", "b"))
    curves = [_read_curve(p) for p in parts]
    curved = tuple(n for n, (corners, _) in enumerate(curves) if corners.size)
    return _Table(names, (ends[0], ends[1]), tuple(c for c, _ in curves), tuple(line for _, line in curves), curved)


def _read_curve(part: Row) -> tuple[Array, Array]:
    """Return the corners (V) of a part's curve and, for each segment, a point on it and its slope (S)."""
    if part.get("value") is not None:
        return np.empty(0), np.array([[0.0, 0.0, 1 / part["value"]]])
    points = np.array(part["points"], dtype=float)
    inner = np.diff(points[:, 1]) / np.diff(points[:, 0])
    slopes = np.array([part["before_s"], *inner, part["after_s"]])
    through = points[[0, *range(len(points))]]
    return points[:, 0], np.column_stack([through, slopes])


def _find_segments(table: _Table, across_v: Array) -> tuple[int, ...]:
    chosen = [0] * len(table.lines)
    for number in table.curved:
        chosen[number] = int(np.searchsorted(table.corners[number], across_v[number]))
    return tuple(chosen)


def _fits(table: _Table, chosen: Sequence[int], across_v: Array, part_a: Array) -> bool:
    """Return whether every part is on the segment that was taken for it, or at its corner.

    A steep segment is told by its amperes: what hangs on teraohms moves the volts across it by less than they resolve.
    """
    for number in table.curved:
        corners, n, line = table.corners[number], chosen[number], table.lines[number][chosen[number]]
        is_steep = line[2] >= STIFF_S
        slack = CORNER_A / line[2] if is_steep else CORNER_V
        past_v = (part_a[number] - line[1]) / line[2] if is_steep else across_v[number] - line[0]
        low_v = corners[n - 1] - line[0] if n > 0 else -np.inf
        high_v = corners[n] - line[0] if n < corners.size else np.inf
        if not low_v - slack <= past_v <= high_v + slack:
            return False
    return True


def _find_across(table: _Table, node_v: Array) -> Array:
    volts = np.append(node_v, 0.0)
    across: Array = volts[table.ends[0]] - volts[table.ends[1]]
    return across


def _solve_linear(table: _Table, chosen: Sequence[int]) -> tuple[Array, Array]:
    """Return node volts and the amperes of steep parts, every part on one segment; refined once for the teraohms."""
    lines = np.array([line[n] for line, n in zip(table.lines, chosen, strict=True)])
    is_stiff = lines[:, 2] >= STIFF_S
    nodes = len(table.names)
    entries = [
        *_list_weak(table, lines, np.flatnonzero(~is_stiff)),
        *_list_stiff(table, lines, np.flatnonzero(is_stiff)),
    ]
    rows, columns, values = (np.concatenate(some) for some in zip(*entries, strict=True))
    size = nodes + int(is_stiff.sum()) + 1  # the last column is the right side
    inside = (rows >= 0) & (columns >= 0)
    whole = sparse.csc_array((values[inside], (rows[inside], columns[inside])), shape=(size - 1, size))
    matrix, right = sparse.csc_array(whole[:, : size - 1]), whole[:, [size - 1]].toarray()[:, 0]
    factors = splu(matrix)
    found = factors.solve(right)
    found = found + factors.solve(right - matrix @ found)
    part_a = np.zeros(len(lines))
    part_a[is_stiff] = found[nodes:]
    return found[:nodes], part_a


def _list_weak(table: _Table, lines: Array, some: Count) -> list[_Entries]:
    """Return what parts of many ohms add to the node equations: i = i0 + g (v - v0) leaves the first end."""
    a, b = table.ends[0][some], table.ends[1][some]
    slope, constant = lines[some, 2], lines[some, 1] - lines[some, 2] * lines[some, 0]
    right = np.full(some.size, len(table.names) + int((lines[:, 2] >= STIFF_S).sum()))
    cross = [(a, a, slope), (b, b, slope), (a, b, -slope), (b, a, -slope)]
    return [*cross, (a, right, -constant), (b, right, constant)]


def _list_stiff(table: _Table, lines: Array, some: Count) -> list[_Entries]:
    """Return what parts of few ohms add: their current to the node equations, and v - r i = v0 - r i0 of their own."""
    a, b = table.ends[0][some], table.ends[1][some]
    current = len(table.names) + np.arange(some.size)
    ohm, ones = 1 / lines[some, 2], np.ones(some.size)
    right = np.full(some.size, len(table.names) + some.size)
    pairs = [(a, current, ones), (b, current, -ones), (current, a, ones), (current, b, -ones)]
    return [*pairs, (current, current, -ohm), (current, right, lines[some, 0] - ohm * lines[some, 1])]


def _find_share(table: _Table, old_v: Array, new_v: Array) -> float:
    """Return the share of a step at which the co-content is least: its slope along the step does not decrease."""
    step_v = new_v - old_v
    low, high = 0.0, 1.0
    if _find_slope(table, new_v, step_v) <= 0:
        return 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        is_past = _find_slope(table, old_v + middle * step_v, step_v) > 0
        low, high = (low, middle) if is_past else (middle, high)
    return high


def _find_slope(table: _Table, across_v: Array, step_v: Array) -> float:
    chosen = _find_segments(table, across_v)
    lines = np.array([line[n] for line, n in zip(table.lines, chosen, strict=True)])
    return float((lines[:, 1] + lines[:, 2] * (across_v - lines[:, 0])) @ step_v)
