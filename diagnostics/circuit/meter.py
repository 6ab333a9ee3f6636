"""A meter on settled circuits: what it reads, and how far each shared unknown moves the reading."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .compiled import Point
from .network import Network, OwnValue, Spreads, build_order
from .newton import (
    Circuits,
    Probe,
    add_current,
    build_circuits,
    find_segments,
    solve_at,
    solve_point,
)
from .settle import Settled
from .together import work_together

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Leads = tuple[int, int]
Loaded = tuple[Array, Array]

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
    part = network.line_spreads.part.take(settled.columns, axis=1)
    uncertain = _Unknowns(part, _match_own(network.own, settled.columns))
    count, unknowns = settled.columns.size, len(network.loop.unknowns) + 1
    volts, slopes = np.empty((len(pairs), count)), np.empty((unknowns, len(pairs), count))

    def read(low: int) -> None:
        ends = [(network.number[r], network.number[b]) for r, b in pairs[low : low + PAIRS_AT_ONCE]]
        unit = np.zeros((len(network.nodes), len(ends), count))
        for n, leads in enumerate(ends):
            _add_unit(unit[:, n], leads)
        weights = solve_at(circuits, settled.point.segment, unit)
        loaded = [_put_on(settled.point, weights[:, n], leads, meter) for n, leads in enumerate(ends)]
        for n, (point, weight) in enumerate(_solve_moved(circuits, settled.point, loaded, ends, meter)):
            volts[low + n] = point.volts[ends[n][0]] - point.volts[ends[n][1]]
            slopes[:, low + n] = _slopes(circuits, point, weight, uncertain)

    work_together(read, range(0, len(pairs), PAIRS_AT_ONCE))
    return Shown(volts, slopes)


def _add_unit(unit: Array, leads: Leads) -> None:
    """Inject one ampere into red and out of black, in place; earth takes any."""
    for node, current_a in zip(leads, (1.0, -1.0), strict=True):
        if node < unit.shape[0]:
            unit[node] += current_a


def _put_on(point: Point, weight: Array, leads: Leads, meter: MeterInput) -> Loaded:
    """Return node volts with the meter on, if no element moves, and the weights (ohms) of a current on the reading."""
    red, black = leads
    meter_s = 1.0 / meter.input_ohm
    source_ohm = weight[red] - weight[black]
    loaded = 1.0 + source_ohm * meter_s
    across = (point.volts[red] - point.volts[black] + source_ohm * meter_s * meter.test_v) / loaded
    return point.volts + weight * (meter_s * (meter.test_v - across)), weight / loaded


def _solve_moved(
    circuits: Circuits, point: Point, loaded: Sequence[Loaded], ends: Sequence[Leads], meter: MeterInput
) -> Iterator[tuple[Point, Array]]:
    """Yield operating points and weights of each pair; where the meter moves an element, all are solved together."""
    network = circuits.network
    moved = [
        np.flatnonzero(((find_segments(network, volts) != point.segment) & circuits.fed).any(axis=0))
        for volts, _ in loaded
    ]
    columns = np.concatenate(moved)
    leads = np.repeat(np.array(ends, dtype=np.intp), [m.size for m in moved], axis=0)
    better, weights = _solve_with(circuits, point, leads, meter, columns) if columns.size else (point, point.volts)
    start = 0
    for (volts, weight), those in zip(loaded, moved, strict=True):
        segment = point.segment
        if those.size:
            here = slice(start, start + those.size)
            segment, start = segment.copy(), here.stop
            volts[:, those], segment[:, those] = better.volts[:, here], better.segment[:, here]
            weight[:, those] = weights[:, here]
        yield Point(volts, segment), weight


def _solve_with(circuits: Circuits, point: Point, leads: Index, meter: MeterInput, moved: Index) -> tuple[Point, Array]:
    """Solve columns in which the meter's load moves an element to another segment; ``leads`` is (column, 2)."""
    meter_s = 1.0 / meter.input_ohm
    network = _make_room(circuits.network, leads)
    probe = Probe(leads[:, 0], leads[:, 1], meter_s, meter_s * meter.test_v)
    some = replace(circuits.take(moved), network=network, probe=probe)
    better = solve_point(some, Point(point.volts.take(moved, axis=1), point.segment.take(moved, axis=1)))
    unit = np.zeros((len(network.nodes), 1, moved.size))
    add_current(unit[:, 0], probe.red, 1.0)
    add_current(unit[:, 0], probe.black, -1.0)
    return better, solve_at(some, better.segment, unit)[:, 0]


def _make_room(network: Network, leads: Index) -> Network:
    """Return the network with an edge between any two nodes that are metered and that nothing has joined so far."""
    pairs = {(min(a, b), max(a, b)) for a, b in leads.tolist() if max(a, b) < len(network.nodes)}
    known = network.edge_of
    fresh = sorted(pairs - known.keys())
    if not fresh:
        return network
    edge_of = known | {pair: len(known) + n for n, pair in enumerate(fresh)}
    order = build_order(edge_of, len(edge_of), network.lines, network.bends, len(network.nodes))
    return replace(network, edge_of=edge_of, order=order)


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
