"""The operating point: Newton on the segments of piecewise-linear elements, with a line search on the co-content.

With continuous, non-decreasing curves and a leak at every node the co-content is strictly convex, so that the operating
point is unique and the search cannot cycle (Millar 1951 for the co-content; the argument is from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import PhysicsError

from .compiled import Linear, Point, settle, solve_sides
from .network import Gates, Network

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Probe:
    """A meter between two nodes of each column, earth among them: ``red`` and ``black`` are (column,).

    It is a conductance (siemens) and a test current (A), the same in all columns.
    """

    red: Index
    black: Index
    conductance_s: float
    current_a: float


@dataclass(frozen=True, slots=True)
class Circuits:
    """Some columns with their gates settled: ``lines_s`` and ``fed`` are (element, column); a meter may be on each."""

    network: Network
    lines_s: Array
    fed: Flags
    probe: Probe | None = None

    def take(self, columns: Index) -> "Circuits":
        """Return some of the columns, without a meter."""
        return Circuits(self.network, self.lines_s.take(columns, axis=1), self.fed.take(columns, axis=1))


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
    across = volts[network.bends.a] - volts[network.bends.b]
    segment = np.zeros(across.shape, dtype=np.intp)
    for corner in network.bends.corner_v.T:
        segment += across > corner[:, None]
    return segment


def solve_at(circuits: Circuits, segment: Index, injected_a: Array) -> Array:
    """Return the volts that injected currents, (node, side, column), make with each bend in a given segment.

    Volts are of nodes and, last, earth, (node, side, column).
    """
    order = circuits.network.order
    return solve_sides(order.plan, _build_linear(circuits), order.curves, circuits.fed, segment, injected_a)


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
        No answer after many rounds.
    """
    network, count = circuits.network, circuits.fed.shape[1]
    order, nodes = network.order, len(network.nodes) + 1
    if start is None:
        start = Point(np.empty((nodes, 0)), np.repeat(network.bends.home[:, None], count, axis=1))
    found = Point(np.empty((nodes, count)), np.empty((network.bends.a.size, count), dtype=np.intp))
    lost = settle(order.plan, _build_linear(circuits), order.curves, circuits.fed, start, found)
    if lost >= 0:
        raise PhysicsError("volts and currents find no balance in this circuit; please report the site and the fault")
    return found


def _build_linear(circuits: Circuits) -> Linear:
    network, probe = circuits.network, circuits.probe
    red = black = rows = np.empty(0, dtype=np.intp)
    if probe is not None:
        red, black = np.ascontiguousarray(probe.red), np.ascontiguousarray(probe.black)
        rows = network.order.find_rows(red, black)
    conductance_s, current_a = (0.0, 0.0) if probe is None else (probe.conductance_s, probe.current_a)
    return Linear(circuits.lines_s, network.order.line_row, network.earth_s, red, black, rows, conductance_s, current_a)
