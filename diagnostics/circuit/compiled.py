"""What is compiled: one circuit after the other is eliminated and settled. All of it is in this file.

numba keeps what it made beside the source and makes it anew when this file changes; it does not see others change.
"""

from collections.abc import Callable
from typing import NamedTuple, ParamSpec, TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .plan import Plan

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
P = ParamSpec("P")
R = TypeVar("R")

MOST_ROUNDS = 80
PLAIN_ROUNDS = 4
# A circuit still tossed about after so many rounds stands on a corner, but for an error of rounding that comes from
# elsewhere (a circulating ampere moves all volts to earth): it is let go within these volts, doubled each round.
STRICT_ROUNDS = 24
LEAST_SLACK_V = 1e-15
MOST_SLACK_V = 1e-9
DEAD_BAND_SHARE = 8 * float(np.finfo(np.float64).eps)


class Curves(NamedTuple):
    """Bends: their end nodes ``a`` and ``b`` (bend,), the plan's ``row`` between these, -1 for none, and segments.

    ``slope_s`` and ``offset_a`` are (bend, segment), ``corner_v`` (bend, corner) is padded with inf.
    """

    a: Index
    b: Index
    row: Index
    slope_s: Array
    offset_a: Array
    corner_v: Array


class Linear(NamedTuple):
    """What does not bend: conductances ``line_s`` (line, column), the plan's ``row`` of each, and ``earth_s`` (node,).

    A meter between ``red`` and ``black`` (column,), where there is one, is ``probe_s`` in ``probe_row`` (column,) and
    ``probe_a`` into red and out of black.
    """

    line_s: Array
    row: Index
    earth_s: Array
    red: Index
    black: Index
    probe_row: Index
    probe_s: float
    probe_a: float


class Batch(NamedTuple):
    """Circuits, one a column, which ``columns`` of them to solve, and which bends are ``fed`` (bend, column).

    Rows of ``linear`` and ``curves`` are those of the plan that these columns are eliminated by.
    """

    linear: Linear
    curves: Curves
    fed: Flags
    columns: Index


class Point(NamedTuple):
    """Operating points: node volts (node and earth, column) and the segment of each bend (element, column)."""

    volts: Array
    segment: Index

    def take(self, columns: Index) -> "Point":
        """Return the points of some of the columns."""
        return Point(self.volts.take(columns, axis=1), self.segment.take(columns, axis=1))


class _Flow(NamedTuple):
    """One circuit while it is eliminated: conductances ``rows`` (siemens) as the plan lays them out.

    ``injected_a`` are currents (amperes) into each node and earth, (node, side), which go through like conductances;
    ``whole_s`` (node,) is where the sums of the stars are put.
    """

    rows: Array
    injected_a: Array
    whole_s: Array


class _Room(NamedTuple):
    """What one circuit is settled in: ``line`` without its bends, its head eliminated, and ``work`` with them.

    They are in the segments ``used``; ``ahead_v`` are the volts that come of it and ``found`` the segments that these
    ask for. ``base_v`` is where the search stands, ``step_v`` the way from there, (node and earth, 1); ``fed`` (bend,)
    tells which bends are there.
    """

    line: _Flow
    work: _Flow
    ahead_v: Array
    base_v: Array
    step_v: Array
    fed: Flags
    used: Index
    found: Index


def compile_fast(function: Callable[P, R]) -> Callable[P, R]:
    """Return a function compiled by numba when it is first called; while it runs no other thread has to wait."""
    try:
        fast: Callable[P, R] = njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # there is no folder that could be written to: each start compiles anew
        fast = njit(nogil=True, error_model="numpy")(function)
    return fast


@compile_fast
def solve_sides(plan: Plan, batch: Batch, segment: Index, injected_a: Array, volts: Array) -> None:
    """Put the volts that injected currents, (node, side, column), make with each bend in a given segment.

    Volts are of nodes and, last, earth, (node, side, column).
    """
    linear, curves, fed = batch.linear, batch.curves, batch.fed
    nodes, sides = injected_a.shape[:2]
    flow = _Flow(np.empty(plan.near.size), np.empty((nodes + 1, sides)), np.empty(nodes))
    inside_v = np.empty((nodes + 1, sides))
    for column in batch.columns:
        _put_lines(plan, linear, column, flow.rows)
        for n in range(curves.row.size):
            if fed[n, column] and curves.row[n] >= 0:
                flow.rows[curves.row[n]] += curves.slope_s[n, segment[n, column]]
        for node in range(nodes):
            for side in range(sides):
                flow.injected_a[node, side] = injected_a[node, side, column]
        _eliminate(plan, flow, 0, nodes)
        _substitute(plan, flow, inside_v, 0, nodes)
        for node in range(nodes + 1):
            for side in range(sides):
                volts[node, side, column] = inside_v[node, side]


@compile_fast
def settle(plan: Plan, batch: Batch, start: Point, point: Point) -> int:
    """Find the operating point of the columns of a batch: put node volts, with earth, and the segment of each bend.

    The search begins in the segments of ``start``, which were found at its volts, or at no volts where those have no
    columns. A column that starts as the one before it begins where that one ended: faults are many, but most leave all
    that is far from them as it is. Returns the first column that has no answer after many rounds, or -1.
    """
    linear, curves, fed = batch.linear, batch.curves, batch.fed
    nodes, bends, rows, before = plan.pivot.size, curves.a.size, plan.near.size, -1
    room = _Room(
        _Flow(np.empty(rows), np.empty((nodes + 1, 1)), np.empty(nodes)),
        _Flow(np.empty(rows), np.empty((nodes + 1, 1)), np.empty(nodes)),
        np.empty((nodes + 1, 1)), np.empty((nodes + 1, 1)), np.empty((nodes + 1, 1)),
        np.empty(bends, dtype=np.bool_), np.empty(bends, dtype=np.intp), np.empty(bends, dtype=np.intp),
    )  # fmt: skip
    for column in batch.columns:
        _begin(plan, linear, column, room.line)
        alike = before >= 0 and _starts_alike(start.segment, fed, column, before)
        for n in range(bends):
            room.fed[n] = fed[n, column]
            room.used[n] = room.found[n] if alike else start.segment[n, column]
        _solve(plan, curves, room)
        if not _is_settled(curves, room, 0.0):
            for node in range(nodes + 1):
                room.base_v[node, 0] = start.volts[node, column] if start.volts.shape[1] else room.ahead_v[node, 0]
            if not _descend(plan, curves, room):
                return int(column)
        _substitute(plan, room.line, room.ahead_v, 0, plan.head)
        for node in range(nodes + 1):
            point.volts[node, column] = room.ahead_v[node, 0]
        for n in range(bends):
            point.segment[n, column] = room.found[n]
        before = column
    return -1


@compile_fast
def _begin(plan: Plan, linear: Linear, column: int, line: _Flow) -> None:
    """Put what does not bend in one column, a meter's current among it, and eliminate the head of the plan."""
    _put_lines(plan, linear, column, line.rows)
    for node in range(line.injected_a.shape[0]):
        line.injected_a[node, 0] = 0.0
    if linear.red.size:
        line.injected_a[linear.red[column], 0] += linear.probe_a
        line.injected_a[linear.black[column], 0] -= linear.probe_a
    _eliminate(plan, line, 0, plan.head)


@compile_fast
def _put_lines(plan: Plan, linear: Linear, column: int, rows: Array) -> None:
    """Put the conductances of one column, a meter's among them, where the plan wants them."""
    for row in range(rows.size):
        rows[row] = 0.0
    for node in range(linear.earth_s.size):
        rows[plan.earth_row[node]] = linear.earth_s[node]
    for n in range(linear.row.size):
        if linear.row[n] >= 0:
            rows[linear.row[n]] += linear.line_s[n, column]
    if linear.red.size and linear.probe_row[column] >= 0:
        rows[linear.probe_row[column]] += linear.probe_s


@compile_fast
def _starts_alike(segment: Index, fed: Flags, column: int, before: int) -> bool:
    """Tell whether a column begins in the same segments, with the same bends there, as the one before it."""
    for n in range(segment.shape[0]):
        if segment[n, column] != segment[n, before] or fed[n, column] != fed[n, before]:
            return False
    return True


@compile_fast
def _descend(plan: Plan, curves: Curves, room: _Room) -> bool:
    """Walk from ``base_v`` towards the goal of each Newton step, until that is an answer; tell whether it was found.

    The first rounds take whole steps, which settle most circuits; one that they do not, or that would cycle, is
    searched.
    """
    for round_ in range(MOST_ROUNDS):
        share = 1.0
        if round_ >= PLAIN_ROUNDS:
            for node in range(room.base_v.size):
                room.step_v[node, 0] = room.ahead_v[node, 0] - room.base_v[node, 0]
            share = _search(plan, curves, room)
        for node in range(room.base_v.size):
            step_v = room.ahead_v[node, 0] - room.base_v[node, 0]
            room.base_v[node, 0] = room.ahead_v[node, 0] if share == 1.0 else room.base_v[node, 0] + share * step_v
        _find_segments(curves, room.base_v, room.used)
        _solve(plan, curves, room)
        doublings = round_ - STRICT_ROUNDS
        if _is_settled(curves, room, min(MOST_SLACK_V, LEAST_SLACK_V * 2.0**doublings) if doublings >= 0 else 0.0):
            return True
    return False


@compile_fast
def _solve(plan: Plan, curves: Curves, room: _Room) -> None:
    """Put the volts of one circuit with each bend in the segment used, and the segments that they ask for."""
    line, work = room.line, room.work
    for row in range(plan.start[plan.head], plan.near.size):
        work.rows[row] = line.rows[row]
    for n in range(plan.head, plan.pivot.size):
        work.injected_a[plan.pivot[n], 0] = line.injected_a[plan.pivot[n], 0]
    for n in range(room.fed.size):
        if room.fed[n]:
            segment = room.used[n]
            if curves.row[n] >= 0:
                work.rows[curves.row[n]] += curves.slope_s[n, segment]
            work.injected_a[curves.a[n], 0] -= curves.offset_a[n, segment]
            work.injected_a[curves.b[n], 0] += curves.offset_a[n, segment]
    _eliminate(plan, work, plan.head, plan.pivot.size)
    _substitute(plan, work, room.ahead_v, plan.head, plan.pivot.size)
    _find_segments(curves, room.ahead_v, room.found)


@compile_fast
def _eliminate(plan: Plan, flow: _Flow, first: int, last: int) -> None:
    """Turn the stars of some pivots into meshes, in place: each row of an edge is left as its share of the star."""
    rows, injected_a = flow.rows, flow.injected_a
    made = plan.made[first]
    for n in range(first, last):
        low, earth = plan.start[n], plan.start[n + 1] - 1
        whole = 0.0
        for row in range(low, earth + 1):
            whole += rows[row]
        flow.whole_s[n] = whole
        for row in range(low, earth):
            if rows[row] != 0.0:  # most edges are there for the sake of another circuit
                share = rows[row] / whole
                rows[row] = share
                for other in range(row + 1, earth + 1):
                    rows[plan.onto[made + other - row - 1]] += share * rows[other]
                for side in range(injected_a.shape[1]):
                    injected_a[plan.near[row], side] += share * injected_a[plan.pivot[n], side]
            made += earth - row


@compile_fast
def _substitute(plan: Plan, flow: _Flow, volts: Array, first: int, last: int) -> None:
    """Put the volts of some pivots, (node, side), after ``_eliminate``; those of earth, the last node, are 0."""
    for side in range(volts.shape[1]):
        volts[plan.pivot.size, side] = 0.0
    for n in range(last - 1, first - 1, -1):
        pivot = plan.pivot[n]
        for side in range(volts.shape[1]):
            volts[pivot, side] = flow.injected_a[pivot, side] / flow.whole_s[n]
        for row in range(plan.start[n], plan.start[n + 1] - 1):
            if flow.rows[row] != 0.0:
                for side in range(volts.shape[1]):
                    volts[pivot, side] += flow.rows[row] * volts[plan.near[row], side]


@compile_fast
def _find_segment(curves: Curves, bend: int, across_v: float) -> int:
    """Return the segment in which one bend works at these volts."""
    segment = 0
    while segment < curves.corner_v.shape[1] and across_v > curves.corner_v[bend, segment]:
        segment += 1
    return segment


@compile_fast
def _find_segments(curves: Curves, volts: Array, segment: Index) -> None:
    """Put the segment in which each bend works."""
    for n in range(segment.size):
        segment[n] = _find_segment(curves, n, volts[curves.a[n], 0] - volts[curves.b[n], 0])


@compile_fast
def _is_settled(curves: Curves, room: _Room, slack_v: float) -> bool:
    """Tell whether each bend that is there lies in the segment used, or in the dead band of its corner.

    The band is as wide as the rounding of the volts, so that rounding cannot toss a circuit between two segments, and
    no wider: a terminal that hangs on its insulation alone is moved by femtoamperes. ``slack_v`` widens it.
    """
    for n in range(room.fed.size):
        segment = room.used[n]
        if room.fed[n] and segment != room.found[n]:
            at_a, at_b = room.ahead_v[curves.a[n], 0], room.ahead_v[curves.b[n], 0]
            band = DEAD_BAND_SHARE * (abs(at_a) + abs(at_b)) + slack_v
            if segment > 0 and at_a - at_b < curves.corner_v[n, segment - 1] - band:
                return False
            if segment < curves.corner_v.shape[1] and at_a - at_b > curves.corner_v[n, segment] + band:
                return False
    return True


@compile_fast
def _search(plan: Plan, curves: Curves, room: _Room) -> float:
    """Return how far along a step from ``base_v`` the co-content still falls, in (0, 1].

    Its slope is linear between the corners of bends: what is looked for are the two between which it turns.
    """
    start_w, rise_w = _rate_lines(plan, room)
    near, near_w = 0.0, _rate_slope(curves, room, start_w, rise_w, 0.0)
    far, far_w = 1.0, _rate_slope(curves, room, start_w, rise_w, 1.0)
    if far_w <= 0:
        return 1.0
    for n in range(room.fed.size):
        along_v = room.step_v[curves.a[n], 0] - room.step_v[curves.b[n], 0]
        if room.fed[n] and along_v != 0.0:
            across_v = room.base_v[curves.a[n], 0] - room.base_v[curves.b[n], 0]
            for corner in range(curves.corner_v.shape[1]):
                share = (curves.corner_v[n, corner] - across_v) / along_v
                if near < share < far:
                    slope_w = _rate_slope(curves, room, start_w, rise_w, share)
                    if slope_w <= 0:
                        near, near_w = share, slope_w
                    else:
                        far, far_w = share, slope_w
    near_w = min(near_w, 0.0)
    return near + (far - near) * (near_w / (near_w - far_w))


@compile_fast
def _rate_lines(plan: Plan, room: _Room) -> tuple[float, float]:
    """Return what all but bends gives to the slope of the co-content: at the start, and more by the end."""
    start_w, rise_w = 0.0, 0.0
    for n in range(plan.head, plan.pivot.size):
        pivot = plan.pivot[n]
        start_w -= room.line.injected_a[pivot, 0] * room.step_v[pivot, 0]
        for row in range(plan.start[n], plan.start[n + 1]):
            other = plan.near[row]
            along_v = room.step_v[pivot, 0] - room.step_v[other, 0]
            start_w += room.line.rows[row] * along_v * (room.base_v[pivot, 0] - room.base_v[other, 0])
            rise_w += room.line.rows[row] * along_v**2
    return start_w, rise_w


@compile_fast
def _rate_slope(curves: Curves, room: _Room, start_w: float, rise_w: float, share: float) -> float:
    """Return the slope of the co-content (watts) at a share of a step: it never falls as one goes on."""
    total_w = start_w + share * rise_w
    for n in range(room.fed.size):
        if room.fed[n]:
            along_v = room.step_v[curves.a[n], 0] - room.step_v[curves.b[n], 0]
            across_v = room.base_v[curves.a[n], 0] - room.base_v[curves.b[n], 0] + share * along_v
            segment = _find_segment(curves, n, across_v)
            total_w += (curves.slope_s[n, segment] * across_v + curves.offset_a[n, segment]) * along_v
    return total_w
