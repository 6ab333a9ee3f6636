"""A meter on settled circuits: what it reads, and how far each shared unknown moves the reading."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .factor import solve_factor
from .network import Network, Spreads
from .newton import Circuits, Point, Probe, build_circuits, build_factor_at, build_injection, find_segments, solve_point, with_earth
from .settle import Settled

Array = NDArray[np.float64]
Index = NDArray[np.intp]

MOST_COLUMNS = 2048


@dataclass(frozen=True, slots=True)
class MeterInput:
    """The meter as a circuit: its resistance, and on ohms the open-circuit volts of its test source (0 on volts)."""

    input_ohm: float
    test_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Shown:
    """Readings across many set-ups, one per entry.

    ``volts`` across the leads, and ``slopes`` of it, (unknown, entry), in volts per standard deviation of each shared
    unknown; the last row is the uncertain value of the fault itself. On ohms, see ``to_ohms``.
    """

    volts: Array
    slopes: Array


def read_meter(settled: Settled, pairs: list[tuple[str, str]], meter: MeterInput) -> Shown:
    """Return what a meter shows; entry ``n`` has its leads on ``pairs[n]`` in column ``n`` of ``settled``."""
    parts = [
        _read_some(settled, np.arange(low, min(low + MOST_COLUMNS, len(pairs))), pairs, meter)
        for low in range(0, len(pairs), MOST_COLUMNS)
    ]
    if not parts:
        return Shown(np.zeros(0), np.zeros((len(settled.network.loop.unknowns) + 1, 0)))
    return Shown(np.concatenate([p.volts for p in parts]), np.concatenate([p.slopes for p in parts], axis=1))


def _read_some(settled: Settled, some: Index, pairs: list[tuple[str, str]], meter: MeterInput) -> Shown:
    network = settled.network
    probe = _build_probe(network, [pairs[n] for n in some], meter)
    circuits = build_circuits(network, settled.columns[some], settled.signals[:, some], probe)
    start = Point(settled.point.volts[:, some], settled.point.segment[:, some])
    point, weights = _solve_both(circuits, start, probe)
    columns = np.arange(some.size)
    across = point.volts[probe.red, columns] - point.volts[probe.black, columns]
    slopes = _slopes(circuits, point, weights, settled.columns[some])
    return Shown(across, slopes)


def _build_probe(network: Network, pairs: list[tuple[str, str]], meter: MeterInput) -> Probe:
    number = network.number
    edges = [network.edge_of[min(number[r], number[b]), max(number[r], number[b])] for r, b in pairs]
    conductance = np.full(len(pairs), 1.0 / meter.input_ohm)
    return Probe(
        np.array(edges, dtype=np.intp),
        np.array([number[r] for r, _ in pairs], dtype=np.intp),
        np.array([number[b] for _, b in pairs], dtype=np.intp),
        conductance,
        conductance * meter.test_v,
    )


def _solve_both(circuits: Circuits, start: Point, probe: Probe) -> tuple[Point, Array]:
    """Return the operating point, and the node weights (ohms) of a current injected anywhere on the reading."""
    segment = start.segment
    point, weights = _solve_at(circuits, segment, probe)
    wrong = np.flatnonzero((find_segments(circuits.network, point.volts) != segment).any(axis=0))
    if wrong.size:
        some = circuits.take(wrong)
        better = solve_point(some, Point(start.volts[:, wrong], segment[:, wrong]))
        fixed, fixed_weights = _solve_at(some, better.segment, probe.take(wrong))
        point.volts[:, wrong], point.segment[:, wrong], weights[:, wrong] = fixed.volts, better.segment, fixed_weights
    return point, weights


def _solve_at(circuits: Circuits, segment: Index, probe: Probe) -> tuple[Point, Array]:
    injected = build_injection(circuits, segment)
    both = np.zeros((injected.shape[0], 2, injected.shape[1]))
    both[:, 0] = injected
    columns = np.arange(probe.edge.size)
    both[probe.red, 1, columns] += 1.0
    both[probe.black, 1, columns] -= 1.0
    both = with_earth(solve_factor(build_factor_at(circuits, segment), both))
    return Point(both[:, 0].copy(), segment.copy()), both[:, 1]


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
    none = np.zeros_like(line_effect, dtype=np.intp)
    shared = _gather(network.line_spreads, (line_effect, line_effect), none)
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
