"""The operating point: Newton on the segments of piecewise-linear elements, with a line search on the co-content.

With continuous, non-decreasing curves and a leak at every node the co-content is strictly convex, so that the operating
point is unique and the search cannot cycle (Millar 1951 for the co-content; the argument is from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import PhysicsError

from .factor import solve_nodes
from .network import Gates, Network

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

MOST_ROUNDS = 80
PLAIN_ROUNDS = 4
# A circuit still tossed about after so many rounds stands on a corner, but for an error of rounding that comes from
# elsewhere (a circulating ampere moves all volts to earth): it is let go within these volts, doubled each round.
STRICT_ROUNDS = 24
LEAST_SLACK_V = 1e-15
MOST_SLACK_V = 1e-9
DEAD_BAND_SHARE = 8 * float(np.finfo(np.float64).eps)


@dataclass(frozen=True, slots=True)
class Probe:
    """A meter between two nodes of each column, earth among them: ``red`` and ``black`` are (column,).

    It is a conductance (siemens) and a test current (A), the same in all columns.
    """

    red: Index
    black: Index
    conductance_s: float
    current_a: float

    def take(self, columns: Index) -> "Probe":
        """Return the probes of some of the columns."""
        return Probe(self.red[columns], self.black[columns], self.conductance_s, self.current_a)

    def across(self, volts: Array) -> Array:
        """Return red against black of node values, (column,)."""
        columns = np.arange(self.red.size)
        found: Array = volts[self.red, columns] - volts[self.black, columns]
        return found


@dataclass(frozen=True, slots=True)
class Circuits:
    """The linear part of some columns with their gates settled: ``lines_s`` and ``fed`` are (element, column).

    ``edges_s`` (edge, column) and ``earth_s`` (node, column) are what the lines make of them, without bends and probe.
    """

    network: Network
    lines_s: Array
    fed: Flags
    edges_s: Array
    earth_s: Array
    probe: Probe | None = None

    def take(self, columns: Index) -> "Circuits":
        """Return some of the columns."""
        probe = None if self.probe is None else self.probe.take(columns)
        lines, edges, earth = (some.take(columns, axis=1) for some in (self.lines_s, self.edges_s, self.earth_s))
        return Circuits(self.network, lines, self.fed.take(columns, axis=1), edges, earth, probe)


@dataclass(frozen=True, slots=True)
class Point:
    """Operating points: node volts (node and earth, column) and the segment of each bend (element, column)."""

    volts: Array
    segment: Index

    def take(self, columns: Index) -> "Point":
        """Return the points of some of the columns."""
        return Point(self.volts.take(columns, axis=1), self.segment.take(columns, axis=1))


def build_circuits(network: Network, columns: Index, signals: Flags) -> Circuits:
    """Return the circuits of some columns under signals of shape (signal, column)."""
    lines = network.lines.conductance_s.take(columns, axis=1)
    rows, open_ = network.line_gates.rows, ~_is_open(network.line_gates, signals)
    lines[rows] = np.where(open_, 0.0, lines[rows]) if rows.size else lines[rows]
    fed = network.bends.present.take(columns, axis=1)
    rows = network.bend_gates.rows
    if rows.size:
        fed[rows] &= _is_open(network.bend_gates, signals)
    earth = network.earth_s[:, None] + network.lines.onto_earth @ lines
    return Circuits(network, lines, fed, network.lines.onto_edges @ lines, earth)


def _is_open(gates: Gates, signals: Flags) -> Flags:
    """Return which gated elements may conduct, (gated element, column)."""
    passes: Flags = (signals[gates.signal] == gates.when[:, :, None]).all(axis=1)
    return passes


def find_segments(network: Network, volts: Array) -> Index:
    """Return the segment in which each bend works."""
    return _segments_across(network, volts[network.bends.a] - volts[network.bends.b])


def _segments_across(network: Network, across: Array) -> Index:
    segment = np.zeros(across.shape, dtype=np.intp)
    for corner in network.bends.corner_v.T:
        segment += across > corner[:, None]
    return segment


def pick(table: Array, segment: Index) -> Array:
    """Return of a table (element, segment) what holds in the segments that are used, (element, column)."""
    first = np.arange(0, table.size, table.shape[1])
    return table.ravel().take(segment + first[:, None])


def solve_at(circuits: Circuits, segment: Index, injected_a: Array) -> Array:
    """Return the volts that injected currents, (node, side, column), make with each bend in a given segment.

    Volts are of nodes and, last, earth, (node, side, column).
    """
    network, earth = circuits.network, circuits.earth_s
    edges = circuits.edges_s + network.bends.onto_edges @ (pick(network.bends.slope_s, segment) * circuits.fed)
    if circuits.probe is not None:
        earth = earth.copy()
        edges = _put_between(network, circuits.probe, edges, earth)
    return solve_nodes(network.plan, edges, earth, injected_a)


def _put_between(network: Network, probe: Probe, known: Array, earth: Array) -> Array:
    """Return the edges with the conductance of a probe added to each column; earth is changed in place."""
    edges = np.zeros((len(network.edge_of), known.shape[1]))
    edges[: known.shape[0]] = known
    low, high = np.minimum(probe.red, probe.black), np.maximum(probe.red, probe.black)
    columns, to_earth = np.arange(low.size), high == len(network.nodes)
    earth[low[to_earth], columns[to_earth]] += probe.conductance_s
    between = columns[~to_earth]
    at = [network.edge_of[int(low[n]), int(high[n])] for n in between]
    edges[at, between] += probe.conductance_s
    return edges


def build_injection(circuits: Circuits, segment: Index) -> Array:
    """Return the currents (amperes) that sources and loads inject into each node, (node, column)."""
    bends = circuits.network.bends
    injected: Array = bends.onto_nodes @ (pick(bends.offset_a, segment) * circuits.fed)
    if circuits.probe is not None:
        add_current(injected, circuits.probe.red, circuits.probe.current_a)
        add_current(injected, circuits.probe.black, -circuits.probe.current_a)
    return injected


def add_current(injected: Array, node: Index, current_a: float) -> None:
    """Inject a current (A) into one node of each column, in place; earth takes any."""
    inside = np.flatnonzero(node < injected.shape[0])
    injected[node[inside], inside] += current_a


def solve_point(circuits: Circuits, start: Point | None = None) -> Point:
    """Return the operating point of every column.

    ``start`` is where the search begins; without it every bend starts in its home segment.

    Raises
    ------
    PhysicsError
        No answer after many rounds; the message names the first such column.
    """
    count = circuits.fed.shape[1]
    home = circuits.network.bends.home[:, None]
    segment = np.repeat(home, count, axis=1) if start is None else start.segment
    goal = _solve_linear(circuits, segment)
    found = find_segments(circuits.network, goal)
    rest = np.flatnonzero(~_is_settled(circuits, goal, segment, found))
    if rest.size:
        base = goal[:, rest] if start is None else start.volts[:, rest]
        _descend(circuits.take(rest), base, Point(goal, found), rest)
    return Point(goal, found)


def _descend(circuits: Circuits, base: Array, goal: Point, rest: Index) -> None:
    """Walk from ``base`` towards the goal of each Newton step, (node, column); ``rest`` are the goal's open columns.

    The first rounds take whole steps, which settle most circuits; those that do not, or would cycle, are searched.
    Where it ends is put into the goal.
    """
    network = circuits.network
    ahead, found = goal.volts[:, rest], goal.segment[:, rest]
    for round_ in range(MOST_ROUNDS):
        if round_ < PLAIN_ROUNDS:
            base, segment = ahead, found
        else:
            step = ahead - base
            base = base + step * _search(circuits, base, step)
            segment = find_segments(network, base)
        ahead = _solve_linear(circuits, segment)
        found = find_segments(network, ahead)
        goal.volts[:, rest], goal.segment[:, rest] = ahead, found
        slack_v = min(MOST_SLACK_V, LEAST_SLACK_V * 2.0 ** (round_ - STRICT_ROUNDS)) if round_ >= STRICT_ROUNDS else 0.0
        open_ = np.flatnonzero(~_is_settled(circuits, ahead, segment, found, slack_v))
        if not open_.size:
            return
        rest, circuits = rest[open_], circuits.take(open_)
        base, ahead, found = base[:, open_], ahead[:, open_], found[:, open_]
    raise PhysicsError("volts and currents find no balance in this circuit; please report the site and the fault")


def _solve_linear(circuits: Circuits, segment: Index) -> Array:
    return solve_at(circuits, segment, build_injection(circuits, segment)[:, None])[:, 0]


def _is_settled(circuits: Circuits, volts: Array, used: Index, found: Index, slack_v: float = 0.0) -> Flags:
    """Return which columns are settled: each fed bend lies in the segment used, or in the dead band of its corner.

    The band is as wide as the rounding of the volts, so that rounding cannot toss a circuit between two segments, and
    no wider: a terminal that hangs on its insulation alone is moved by femtoamperes. ``slack_v`` widens it.
    """
    bends = circuits.network.bends
    row, column = np.nonzero((used != found) & circuits.fed)
    at_a, at_b, segment = volts[bends.a[row], column], volts[bends.b[row], column], used[row, column]
    across, band = at_a - at_b, DEAD_BAND_SHARE * (np.abs(at_a) + np.abs(at_b)) + slack_v
    outside = (across < bends.low_v[row, segment] - band) | (across > bends.high_v[row, segment] + band)
    settled = np.ones(used.shape[1], dtype=np.bool_)
    settled[column[outside]] = False
    return settled


def _search(circuits: Circuits, volts: Array, step: Array) -> Array:
    """Return how far along the step the co-content still falls, in (0, 1], (column,).

    Its slope is linear between corners: bisection finds the two between which it turns.
    """
    slope = _build_slope(circuits, volts, step)
    corners = slope.list_corners()
    columns = np.arange(step.shape[1])
    low, high = np.zeros_like(columns), np.full_like(columns, corners.shape[0] - 1)
    whole = slope.at(corners[high, columns]) <= 0
    while (high - low > 1).any() and not whole.all():
        middle = (low + high) // 2
        falls = slope.at(corners[middle, columns]) <= 0
        low, high = np.where(falls, middle, low), np.where(falls, high, middle)
    near, far = corners[low, columns], corners[high, columns]
    falls_w, rises_w = np.minimum(slope.at(near), 0.0), slope.at(far)
    share = near + (far - near) * (falls_w / np.where(whole, 1.0, falls_w - rises_w))
    return np.where(whole, 1.0, share)


@dataclass(frozen=True, slots=True)
class _SlopeAlong:
    """The derivative of the co-content along a step, a non-decreasing function of how far one goes.

    Lines give ``start_w`` + share × ``rise_w`` (column,); bends are followed segment by segment.
    """

    network: Network
    start_w: Array
    rise_w: Array
    across: Array
    along: Array

    def list_corners(self) -> Array:
        """Return where the derivative bends, rising, with both ends of the step, (corner, column)."""
        away = self.network.bends.corner_v.T[:, :, None] - self.across
        share = np.divide(away, self.along, out=np.zeros_like(away), where=np.isfinite(away) & (self.along != 0))
        inside = np.where((share > 0) & (share < 1), share, 1.0).reshape(-1, self.start_w.size)
        ends = np.zeros((1, self.start_w.size)), np.ones((1, self.start_w.size))
        return np.sort(np.concatenate([*ends, inside]), axis=0)

    def at(self, share: Array) -> Array:
        """Return the derivative (watts) at ``share`` of the step, (column,)."""
        bends = self.network.bends
        across = self.across + share * self.along
        segment = _segments_across(self.network, across)
        current = pick(bends.slope_s, segment) * across + pick(bends.offset_a, segment)
        total: Array = self.start_w + share * self.rise_w + (current * self.along).sum(axis=0)
        return total


def _build_slope(circuits: Circuits, volts: Array, step: Array) -> _SlopeAlong:
    network, probe = circuits.network, circuits.probe
    lines, bends = network.lines, network.bends
    along = step[lines.a] - step[lines.b]
    power = circuits.lines_s * along
    earth = network.earth_s[:, None] * step[:-1]
    start = (power * (volts[lines.a] - volts[lines.b])).sum(axis=0) + (earth * volts[:-1]).sum(axis=0)
    rise = (power * along).sum(axis=0) + (earth * step[:-1]).sum(axis=0)
    if probe is not None:
        across, ahead = probe.across(volts), probe.across(step)
        start += (probe.conductance_s * across - probe.current_a) * ahead
        rise += probe.conductance_s * ahead**2
    fed = np.where(circuits.fed, step[bends.a] - step[bends.b], 0.0)
    return _SlopeAlong(network, start, rise, volts[bends.a] - volts[bends.b], fed)
