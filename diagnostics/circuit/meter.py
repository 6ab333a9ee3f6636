"""A meter on settled circuits: what it reads, and how far each shared unknown moves the reading."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .factor import solve_factor
from .network import Network, Spreads
from .newton import Circuits, Point, Probe, build_circuits, build_factor_at, find_segments, solve_point, with_earth
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
class Shown:
    """Readings of several lead positions across a batch.

    ``volts`` across the leads, (pair, column), and ``slopes`` of it, (unknown, pair, column), in volts per standard
    deviation of each shared unknown; the last row is the uncertain value of the fault itself. On ohms: ``to_ohms``.
    """

    volts: Array
    slopes: Array


def read_meter(settled: Settled, pairs: list[tuple[str, str]], meter: MeterInput) -> Shown:
    """Return what a meter shows with its leads, (red, black), on each pair of terminals in every column.

    The meter loads the circuit. Where that moves no element to another segment, one elimination serves all pairs
    (a meter is one more conductance, so Sherman and Morrison's formula is exact); the others are solved anew.
    """
    network = settled.network
    circuits = build_circuits(network, settled.columns, settled.signals)
    factor = build_factor_at(circuits, settled.point.segment)
    count, unknowns = settled.columns.size, len(network.loop.unknowns) + 1
    volts, slopes = np.empty((len(pairs), count)), np.empty((unknowns, len(pairs), count))
    for low in range(0, len(pairs), PAIRS_AT_ONCE):
        some = pairs[low : low + PAIRS_AT_ONCE]
        ends = [(network.number[r], network.number[b]) for r, b in some]
        unit = np.zeros((len(network.nodes), len(some), count))
        for n, (red, black) in enumerate(ends):
            unit[red, n] += 1.0
            unit[black, n] -= 1.0
        weights = with_earth(solve_factor(factor, unit))
        for n, leads in enumerate(ends):
            point, weight = _put_on(circuits, settled.point, weights[:, n], leads, meter)
            volts[low + n] = point.volts[leads[0]] - point.volts[leads[1]]
            slopes[:, low + n] = _slopes(circuits, point, weight, settled.columns)
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
    low, high = min(leads), max(leads)
    meter_s = np.full(moved.size, 1.0 / meter.input_ohm)
    edge, red, black = (np.full(moved.size, n, dtype=np.intp) for n in (circuits.network.edge_of[low, high], *leads))
    probe = Probe(edge, red, black, meter_s, meter_s * meter.test_v)
    some = replace(circuits.take(moved), probe=probe)
    better = solve_point(some, Point(point.volts.take(moved, axis=1), point.segment.take(moved, axis=1)))
    unit = np.zeros((better.volts.shape[0] - 1, moved.size))
    unit[leads[0]] += 1.0
    unit[leads[1]] -= 1.0
    weight = with_earth(solve_factor(build_factor_at(some, better.segment), unit))
    return better.volts, better.segment, weight


def _slopes(circuits: Circuits, point: Point, weights: Array, columns: Index) -> Array:
    """Return the adjoint sensitivities, (unknown and own value, entry)."""
    network = circuits.network
    lines, bends = network.lines, network.bends
    line_a = circuits.lines_s * (point.volts[lines.a] - point.volts[lines.b])
    line_effect = line_a * (weights[lines.a] - weights[lines.b])
    rows = np.arange(point.segment.shape[0])[:, None]
    slope = np.where(circuits.fed, bends.slope_s[rows, point.segment], 0.0)
    offset = np.where(circuits.fed, bends.offset_a[rows, point.segment], 0.0)
    across = point.volts[bends.a] - point.volts[bends.b]
    along = weights[bends.a] - weights[bends.b]
    effects = ((slope * across + offset) * along, bends.emf_v[:, None] * slope * along)
    shared = network.line_spreads @ line_effect
    shared += _gather(network.bend_spreads, effects, point.segment)
    return np.concatenate([shared, _own_value(network, line_effect, columns)[None]])


def _gather(spreads: Spreads, effects: tuple[Array, Array], segment: Index) -> Array:
    by_current, by_emf = effects
    if not spreads.element.size:
        return np.zeros((spreads.onto_unknowns.shape[0], segment.shape[1]))
    rows = np.arange(spreads.element.size)[:, None]
    counts = spreads.in_segment[rows, segment[spreads.element]]
    effect = np.where(spreads.emf[:, None], by_emf[spreads.element], by_current[spreads.element])
    moved: Array = spreads.onto_unknowns @ (np.where(counts, effect, 0.0) * spreads.sign[:, None])
    return moved


def _own_value(network: Network, line_effect: Array, columns: Index) -> Array:
    own = network.own
    moved = np.zeros(columns.size)
    order = np.argsort(columns, kind="stable")
    low = np.searchsorted(columns[order], own.column, side="left")
    high = np.searchsorted(columns[order], own.column, side="right")
    for row, share, first, last in zip(own.row, own.share, low, high, strict=True):
        entries = order[first:last]
        moved[entries] += share * line_effect[row, entries]
    return moved


def to_ohms(shown: Shown, meter: MeterInput) -> Shown:
    """Return what an ohmmeter makes of its volts: ohms, and ohms per standard deviation."""
    room = np.maximum(meter.test_v - shown.volts, 1e-15)
    ohms = meter.input_ohm * shown.volts / room
    return Shown(ohms, shown.slopes * (meter.input_ohm * meter.test_v / room**2))
