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
_SEARCH_ROUNDS = 60


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
    """The linear part of some columns with their gates settled: ``lines_s`` and ``fed`` are (element, column)."""

    network: Network
    lines_s: Array
    fed: Flags
    probe: Probe | None = None

    def take(self, columns: Index) -> "Circuits":
        """Return some of the columns."""
        probe = None if self.probe is None else self.probe.take(columns)
        return Circuits(self.network, self.lines_s.take(columns, axis=1), self.fed.take(columns, axis=1), probe)


@dataclass(frozen=True, slots=True)
class Point:
    """Operating points: node volts (node and earth, column) and the segment of each bend (element, column)."""

    volts: Array
    segment: Index


def build_circuits(network: Network, columns: Index, signals: Flags) -> Circuits:
    """Return the circuits of some columns under signals of shape (signal, column)."""
    lines = network.lines.conductance_s.take(columns, axis=1)
    rows, open_ = network.line_gates.rows, ~_is_open(network.line_gates, signals)
    lines[rows] = np.where(open_, 0.0, lines[rows]) if rows.size else lines[rows]
    fed = network.bends.present.take(columns, axis=1)
    rows = network.bend_gates.rows
    if rows.size:
        fed[rows] &= _is_open(network.bend_gates, signals)
    return Circuits(network, lines, fed)


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


def solve_at(circuits: Circuits, segment: Index, injected_a: Array) -> Array:
    """Return the volts that injected currents, (node, side, column), make with each bend in a given segment.

    Volts are of nodes and, last, earth, (node, side, column).
    """
    network = circuits.network
    rows = np.arange(segment.shape[0])[:, None]
    slope = np.where(circuits.fed, network.bends.slope_s[rows, segment], 0.0)
    edges = network.lines.onto_edges @ circuits.lines_s + network.bends.onto_edges @ slope
    earth = network.earth_s[:, None] + network.lines.onto_earth @ circuits.lines_s
    if circuits.probe is not None:
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
    network = circuits.network
    rows = np.arange(segment.shape[0])[:, None]
    offset = np.where(circuits.fed, network.bends.offset_a[rows, segment], 0.0)
    injected: Array = network.bends.onto_nodes @ offset
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
    if not rest.size:
        return Point(goal, found)
    base = goal[:, rest] if start is None else start.volts[:, rest]
    goal[:, rest] = _descend(circuits.take(rest), base, goal[:, rest])
    return Point(goal, find_segments(circuits.network, goal))


def _descend(circuits: Circuits, base: Array, goal: Array) -> Array:
    """Return the operating points, walking from ``base`` towards the goal of each Newton step, (node, column).

    The first rounds take whole steps, which settle most circuits; those that do not, or would cycle, are searched.
    """
    answer = goal.copy()
    rest = np.arange(goal.shape[1])
    for round_ in range(MOST_ROUNDS):
        step = goal - base
        base = goal if round_ < PLAIN_ROUNDS else base + step * _search(circuits, base, step)
        segment = find_segments(circuits.network, base)
        goal = _solve_linear(circuits, segment)
        answer[:, rest] = goal
        slack_v = min(MOST_SLACK_V, LEAST_SLACK_V * 2.0 ** (round_ - STRICT_ROUNDS)) if round_ >= STRICT_ROUNDS else 0.0
        found = find_segments(circuits.network, goal)
        open_ = np.flatnonzero(~_is_settled(circuits, goal, segment, found, slack_v))
        if not open_.size:
            return answer
        rest, circuits, base, goal = rest[open_], circuits.take(open_), base[:, open_], goal[:, open_]
    raise PhysicsError("volts and currents find no balance in this circuit; please report the site and the fault")


def _solve_linear(circuits: Circuits, segment: Index) -> Array:
    return solve_at(circuits, segment, build_injection(circuits, segment)[:, None])[:, 0]


def _is_settled(circuits: Circuits, volts: Array, used: Index, found: Index, slack_v: float = 0.0) -> Flags:
    """Return which columns are settled: each fed bend lies in the segment used, or in the dead band of its corner.

    The band is as wide as the rounding of the volts, so that rounding cannot toss a circuit between two segments, and
    no wider: a terminal that hangs on its insulation alone is moved by femtoamperes. ``slack_v`` widens it.
    """
    bends = circuits.network.bends
    if not used.shape[0]:
        return np.ones(used.shape[1], dtype=np.bool_)
    at_a, at_b = volts[bends.a], volts[bends.b]
    across, band = at_a - at_b, DEAD_BAND_SHARE * (np.abs(at_a) + np.abs(at_b)) + slack_v
    rows = np.arange(used.shape[0])[:, None]
    inside = (across >= bends.low_v[rows, used] - band) & (across <= bends.high_v[rows, used] + band)
    settled: Flags = ((used == found) | inside | ~circuits.fed).all(axis=0)
    return settled


def _search(circuits: Circuits, volts: Array, step: Array) -> Array:
    """Return how far along the step the co-content still falls, in (0, 1], (column,), by bisection on its slope."""
    slope = _build_slope(circuits, volts, step)
    low, high = np.zeros(step.shape[1]), np.ones(step.shape[1])
    whole = slope.at(high) <= 0
    if whole.all():
        return high
    for _ in range(_SEARCH_ROUNDS):
        middle = 0.5 * (low + high)
        falls = slope.at(middle) <= 0
        low, high = np.where(falls, middle, low), np.where(falls, high, middle)
    return np.where(whole, 1.0, 0.5 * (low + high))


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

    def at(self, share: Array) -> Array:
        """Return the derivative (watts) at ``share`` of the step, (column,)."""
        bends = self.network.bends
        across = self.across + share * self.along
        segment = _segments_across(self.network, across)
        rows = np.arange(segment.shape[0])[:, None]
        current = bends.slope_s[rows, segment] * across + bends.offset_a[rows, segment]
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
