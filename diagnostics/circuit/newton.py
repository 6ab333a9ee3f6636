"""The operating point: Newton on the segments of piecewise-linear elements, with a line search on the co-content.

With continuous, non-decreasing curves and a leak at every node the co-content is strictly convex, so that the operating
point is unique and the search cannot cycle (Millar 1951 for the co-content; the argument is from memory).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.errors import PhysicsError

from .compiled import Batch, Linear, Point, settle, solve_sides
from .network import Gates, Network, Order, find_rows

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
    """Some columns with their gates settled: ``lines_s`` and ``fed`` are (element, column); a meter may be on each.

    ``is_plain`` (column,) tells which of them the network's plain order does for.
    """

    network: Network
    lines_s: Array
    fed: Flags
    is_plain: Flags
    probe: Probe | None = None

    def take(self, columns: Index) -> "Circuits":
        """Return some of the columns, without a meter."""
        lines, fed = self.lines_s.take(columns, axis=1), self.fed.take(columns, axis=1)
        return Circuits(self.network, lines, fed, self.is_plain[columns])


def build_circuits(network: Network, columns: Index, signals: Flags) -> Circuits:
    """Return the circuits of some columns under signals of shape (signal, column)."""
    lines = network.lines.conductance_s.take(columns, axis=1)
    rows, open_ = network.line_gates.rows, ~_is_open(network.line_gates, signals)
    lines[rows] = np.where(open_, 0.0, lines[rows]) if rows.size else lines[rows]
    fed = network.bends.present.take(columns, axis=1)
    rows = network.bend_gates.rows
    if rows.size:
        fed[rows] &= _is_open(network.bend_gates, signals)
    return Circuits(network, lines, fed, network.is_plain[columns])


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
    volts = np.empty((injected_a.shape[0] + 1, *injected_a.shape[1:]))
    for order, columns in _part(circuits):
        solve_sides(order.plan, _build_batch(circuits, order, columns), segment, injected_a, volts)
    return volts


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
    nodes = len(network.nodes) + 1
    if start is None:
        start = Point(np.empty((nodes, 0)), np.repeat(network.bends.home[:, None], count, axis=1))
    found = Point(np.empty((nodes, count)), np.empty((network.bends.a.size, count), dtype=np.intp))
    for order, columns in _part(circuits):
        lost: int = settle(order.plan, _build_batch(circuits, order, columns), start, found)
        if lost >= 0:
            raise PhysicsError(
                "volts and currents find no balance in this circuit; please report the site and the fault"
            )
    return found


def _part(circuits: Circuits) -> list[tuple[Order, Index]]:
    """Return the columns by the order that does for them, the shortest; with a meter on, the one for all."""
    network = circuits.network
    if circuits.probe is not None:
        return [(network.order, np.arange(circuits.is_plain.size))]
    parts = (network.plain, np.flatnonzero(circuits.is_plain)), (network.order, np.flatnonzero(~circuits.is_plain))
    return [(order, columns) for order, columns in parts if columns.size]


def _build_batch(circuits: Circuits, order: Order, columns: Index) -> Batch:
    probe = circuits.probe
    red = black = rows = np.empty(0, dtype=np.intp)
    if probe is not None:
        red, black = np.ascontiguousarray(probe.red), np.ascontiguousarray(probe.black)
        rows = find_rows(circuits.network, red, black)
    conductance_s, current_a = (0.0, 0.0) if probe is None else (probe.conductance_s, probe.current_a)
    linear = Linear(
        circuits.lines_s, order.line_row, circuits.network.earth_s, red, black, rows, conductance_s, current_a
    )
    return Batch(linear, order.curves, circuits.fed, columns)
