"""A meter on settled circuits: what it reads, and how far each shared unknown moves the reading."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .factor import solve_factor
from .network import Network, OwnValue, Spreads
from .newton import (
    Circuits,
    Point,
    Probe,
    add_current,
    build_circuits,
    build_factor_at,
    find_segments,
    solve_point,
    with_earth,
)
from .plan import build_plan
from .settle import Settled

Array = NDArray[np.float64]
Index = NDArray[np.intp]

PAIRS_AT_ONCE = 8


@dataclass(frozen=True, slots=True)
class MeterInput:
    """The meter as a circuit: its resistance, and on ohms the open-circuit volts of its test source (0 on volts)."""

    input_ohm: float
    test_v: float = 0.0


@dataclass(frozen=True, slots=True)
class _Own:
    """Line ``row`` of ``entry`` of the batch has an uncertain value of its own, one sd of which is ``share`` of it."""

    row: Index
    entry: Index
    share: Array


@dataclass(frozen=True, slots=True)
class _Unknowns:
    """What is uncertain in a batch: the part of each line's ohms, (spread row, entry), and own values."""

    part: Array
    own: _Own


@dataclass(frozen=True, slots=True)
class Shown:
    """Readings of several lead positions across a batch.

    ``volts`` across the leads, (pair, column), and ``slopes`` of it, (unknown, pair, column), in volts per standard
    deviation of each shared unknown; the last row is the uncertain value of the fault itself. On ohms: ``to_ohms``.
    """

    volts: Array
    slopes: Array


def read_meter(settled: Settled, pairs: list[tuple[str, str]], meter: MeterInput) -> Shown:
    """Return what a meter shows with its leads, (red, black), on each pair of terminals, or earth, in every column.

    The meter loads the circuit. Where that moves no element to another segment, one elimination serves all pairs
    (a meter is one more conductance, so Sherman and Morrison's formula is exact); the others are solved anew.
    """
    network = settled.network
    circuits = build_circuits(network, settled.columns, settled.signals)
    factor = build_factor_at(circuits, settled.point.segment)
    part = network.line_spreads.part.take(settled.columns, axis=1)
    uncertain = _Unknowns(part, _match_own(network.own, settled.columns))
    count, unknowns = settled.columns.size, len(network.loop.unknowns) + 1
    volts, slopes = np.empty((len(pairs), count)), np.empty((unknowns, len(pairs), count))
    for low in range(0, len(pairs), PAIRS_AT_ONCE):
        some = pairs[low : low + PAIRS_AT_ONCE]
        ends = [(network.number[r], network.number[b]) for r, b in some]
        unit = np.zeros((len(network.nodes), len(some), count))
        for n, (red, black) in enumerate(ends):
            add_current(unit[:, n], red, 1.0)
            add_current(unit[:, n], black, -1.0)
        weights = with_earth(solve_factor(factor, unit))
        for n, leads in enumerate(ends):
            point, weight = _put_on(circuits, settled.point, weights[:, n], leads, meter)
            volts[low + n] = point.volts[leads[0]] - point.volts[leads[1]]
            slopes[:, low + n] = _slopes(circuits, point, weight, uncertain)
    return Shown(volts, slopes)


def _put_on(
    circuits: Circuits, point: Point, weight: Array, leads: tuple[int, int], meter: MeterInput
) -> tuple[Point, Array]:
    """Return the operating points with the meter on, and the weights (ohms) of a current anywhere on the reading."""
    red, black = leads
    meter_s = 1.0 / meter.input_ohm
    source_ohm = weight[red] - weight[black]
    loaded = 1.0 + source_ohm * meter_s
    across = (point.volts[red] - point.volts[black] + source_ohm * meter_s * meter.test_v) / loaded
    volts = point.volts + weight * (meter_s * (meter.test_v - across))
    weight = weight / loaded
    moved = np.flatnonzero(((find_segments(circuits.network, volts) != point.segment) & circuits.fed).any(axis=0))
    segment = point.segment
    if moved.size:
        segment = segment.copy()
        volts[:, moved], segment[:, moved], weight[:, moved] = _solve_with(circuits, point, leads, meter, moved)
    return Point(volts, segment), weight


def _solve_with(
    circuits: Circuits, point: Point, leads: tuple[int, int], meter: MeterInput, moved: Index
) -> tuple[Array, Index, Array]:
    """Solve the circuits in which the meter's load moves an element to another segment."""
    meter_s = 1.0 / meter.input_ohm
    network = _make_room(circuits.network, leads)
    some = replace(circuits.take(moved), network=network, probe=Probe(*leads, meter_s, meter_s * meter.test_v))
    better = solve_point(some, Point(point.volts.take(moved, axis=1), point.segment.take(moved, axis=1)))
    unit = np.zeros((len(network.nodes), moved.size))
    add_current(unit, leads[0], 1.0)
    add_current(unit, leads[1], -1.0)
    weight = with_earth(solve_factor(build_factor_at(some, better.segment), unit))
    return better.volts, better.segment, weight


def _make_room(network: Network, leads: tuple[int, int]) -> Network:
    """Return the network with an edge between two nodes that nothing has joined so far."""
    low, high = min(leads), max(leads)
    if high == len(network.nodes) or (low, high) in network.edge_of:
        return network
    edge_of = network.edge_of | {(low, high): len(network.edge_of)}
    return replace(network, edge_of=edge_of, plan=build_plan(len(network.nodes), tuple(edge_of)))


def _slopes(circuits: Circuits, point: Point, weights: Array, unknowns: _Unknowns) -> Array:
    """Return the adjoint sensitivities, (unknown and own value, entry)."""
    network = circuits.network
    bends = network.bends
    spread = network.line_spreads
    a, b = network.lines.a[spread.row], network.lines.b[spread.row]
    line_a = circuits.lines_s[spread.row] * (point.volts[a] - point.volts[b])
    effect_v = line_a * (weights[a] - weights[b]) * unknowns.part
    rows = np.arange(point.segment.shape[0])[:, None]
    slope = np.where(circuits.fed, bends.slope_s[rows, point.segment], 0.0)
    offset = np.where(circuits.fed, bends.offset_a[rows, point.segment], 0.0)
    across = point.volts[bends.a] - point.volts[bends.b]
    along = weights[bends.a] - weights[bends.b]
    effects = ((slope * across + offset) * along, bends.emf_v[:, None] * slope * along)
    shared: Array = spread.onto_unknowns @ effect_v
    shared += _gather(network.bend_spreads, effects, point.segment)
    return np.concatenate([shared, _add_own(circuits, point, weights, unknowns.own)[None]])


def _gather(spreads: Spreads, effects: tuple[Array, Array], segment: Index) -> Array:
    by_current, by_emf = effects
    if not spreads.element.size:
        return np.zeros((spreads.onto_unknowns.shape[0], segment.shape[1]))
    rows = np.arange(spreads.element.size)[:, None]
    counts = spreads.in_segment[rows, segment[spreads.element]]
    effect = np.where(spreads.emf[:, None], by_emf[spreads.element], by_current[spreads.element])
    moved: Array = spreads.onto_unknowns @ (np.where(counts, effect, 0.0) * spreads.sign[:, None])
    return moved


def _match_own(own: OwnValue, columns: Index) -> _Own:
    """Find which entries of a batch show a column with an uncertain value of its own; columns may repeat."""
    order = np.argsort(columns, kind="stable")
    low = np.searchsorted(columns[order], own.column, side="left")
    count = np.searchsorted(columns[order], own.column, side="right") - low
    nth = np.arange(count.sum()) - np.repeat(count.cumsum() - count, count)
    return _Own(np.repeat(own.row, count), order[np.repeat(low, count) + nth], np.repeat(own.share, count))


def _add_own(circuits: Circuits, point: Point, weights: Array, own: _Own) -> Array:
    """Return the effect of each fault's own uncertain value, (entry,)."""
    lines, entry = circuits.network.lines, own.entry
    a, b = lines.a[own.row], lines.b[own.row]
    line_a = circuits.lines_s[own.row, entry] * (point.volts[a, entry] - point.volts[b, entry])
    effect = own.share * line_a * (weights[a, entry] - weights[b, entry])
    moved = np.zeros(circuits.lines_s.shape[1])
    np.add.at(moved, entry, effect)
    return moved


def to_ohms(shown: Shown, meter: MeterInput) -> Shown:
    """Return what an ohmmeter makes of its volts: ohms, and ohms per standard deviation."""
    room = np.maximum(meter.test_v - shown.volts, 1e-15)
    ohms = meter.input_ohm * shown.volts / room
    return Shown(ohms, shown.slopes * (meter.input_ohm * meter.test_v / room**2))
