"""A loop and a batch of fault edits, compiled to arrays: rows are elements, columns are circuits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from diagnostics.errors import PhysicsError
from diagnostics.wiring import EARTH, Add, Edits, Element, Hold, How, Kind, Loop, Move, Remove, SetResistance

from .compiled import Curves
from .heads import Heads, build_heads
from .plan import Plan, build_plan

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Matrix = sparse.csr_array


@dataclass(frozen=True, slots=True)
class Lines:
    """Resistive elements: conductance (siemens) by (element, column), 0 where it is not there."""

    names: tuple[str, ...]
    a: Index
    b: Index
    conductance_s: Array


@dataclass(frozen=True, slots=True)
class Bends:
    """Curves; ``slope_s`` and ``offset_a`` are (element, segment), ``corner_v`` is padded with inf."""

    names: tuple[str, ...]
    a: Index
    b: Index
    present: Flags
    slope_s: Array
    offset_a: Array
    corner_v: Array
    home: Index
    emf_v: Array


@dataclass(frozen=True, slots=True)
class Gates:
    """Which signals let an element conduct: (element, up to three) signal numbers and wanted values."""

    rows: Index
    signal: Index
    when: Flags


@dataclass(frozen=True, slots=True)
class Spreads:
    """What shared unknowns move: row ``n`` says element, unknown, share, and in which segments it counts."""

    element: Index
    sign: Array
    emf: Flags
    in_segment: Flags
    onto_unknowns: Matrix


@dataclass(frozen=True, slots=True)
class LineSpreads:
    """Resistive elements that shared unknowns move: their ``row``, (spread row,), and the map onto unknowns.

    ``part`` (spread row, column) is the share of the resistance that they move: a bad joint is no longer cable.
    """

    row: Index
    part: Array
    onto_unknowns: Matrix


@dataclass(frozen=True, slots=True)
class OwnValue:
    """The uncertain value of a fault itself: element ``row`` (lines only) of ``column`` has this share."""

    row: Index
    column: Index
    share: Array


@dataclass(frozen=True, slots=True)
class Order:
    """An order of elimination, and in which of its rows each line lies, (line,), -1 for none; ``curves`` know."""

    plan: Plan
    line_row: Index
    curves: Curves


@dataclass(frozen=True, slots=True)
class Network:
    """The compiled batch. Node ``len(nodes)`` is earth; ``gating`` numbers the signals that let elements conduct.

    ``order`` does for every circuit; ``plain``, which is shorter, for those that join nothing that the sound loop does
    not join (``is_plain``, by column): most faults change what is there.
    """

    loop: Loop
    edits: tuple[Edits, ...]
    nodes: tuple[str, ...]
    number: dict[str, int]
    columns: int
    edge_of: dict[tuple[int, int], int]
    order: Order
    plain: Order
    is_plain: Flags
    earth_s: Array
    lines: Lines
    bends: Bends
    line_gates: Gates
    bend_gates: Gates
    gating: tuple[int, ...]
    line_spreads: LineSpreads
    bend_spreads: Spreads
    own: OwnValue
    heads: Heads
    held: Flags
    held_value: Flags


@dataclass(frozen=True, slots=True)
class _Union:
    """All elements that any circuit of the batch has, and which circuit has which."""

    elements: tuple[Element, ...]
    present: Flags
    resistance_ohm: dict[tuple[int, int], float]
    share: dict[tuple[int, int], float]


def build_network(loop: Loop, edits: Sequence[Edits]) -> Network:
    """Compile a loop with one tuple of edits per circuit.

    Raises
    ------
    PhysicsError
        An edit names an element that the loop does not have.
    """
    union = _unite(loop, edits)
    terminals = dict.fromkeys(t for e in union.elements for t in (e.a, e.b) if t != EARTH)
    number = {t: n for n, t in enumerate(terminals)} | {EARTH: len(terminals)}
    is_line = [e.curve is None for e in union.elements]
    edge_of = _number_edges([(e.a, e.b) for e in loop.elements if e.kind is not Kind.LEAK], number, {})
    sound = len(edge_of)
    more = [*((e.a, e.b) for e in union.elements), *loop.meter_points, *_field_points(loop)]
    edge_of = _number_edges(more, number, edge_of)
    lines, own = _build_lines(union, np.flatnonzero(is_line), number)
    bends = _build_bends(union, np.flatnonzero(~np.array(is_line)), number)
    order = build_order(edge_of, len(edge_of), lines, bends, len(terminals))
    plain = build_order(edge_of, sound, lines, bends, len(terminals))
    signal = {s: n for n, s in enumerate(loop.signals)}
    held, held_value = _build_holds(loop, edits, signal)
    line_elements = tuple(e for e in union.elements if e.curve is None)
    bend_elements = tuple(e for e in union.elements if e.curve is not None)
    gating = {signal[gate.signal] for e in union.elements for gate in e.gates}
    return Network(
        loop, tuple(edits), tuple(terminals), number, len(edits), edge_of, order, plain,
        _find_plain(order, plain, lines, bends), _leaks(loop, len(terminals)),
        lines, bends, _build_gates(line_elements, signal), _build_gates(bend_elements, signal), tuple(sorted(gating)),
        _build_line_spreads(line_elements, lines, loop), _build_spreads(bend_elements, loop, bends.slope_s.shape[1]),
        own, build_heads(loop, number, signal), held, held_value,
    )  # fmt: skip


def build_order(edge_of: Mapping[tuple[int, int], int], count: int, lines: Lines, bends: Bends, nodes: int) -> Order:
    """Return the order of elimination of so many nodes with the first edges, and where each element lies in it."""
    plan = build_plan(nodes, tuple(edge_of)[:count], frozenset([*bends.a.tolist(), *bends.b.tolist()]))
    line_row, bend_row = (_find_rows(plan, edge_of, count, some.a, some.b) for some in (lines, bends))
    return Order(plan, line_row, Curves(bends.a, bends.b, bend_row, bends.slope_s, bends.offset_a, bends.corner_v))


def find_rows(network: Network, a: Index, b: Index) -> Index:
    """Return the rows of the network's order between nodes, earth among them; -1 where both ends are one."""
    return _find_rows(network.order.plan, network.edge_of, len(network.edge_of), a, b)


def _find_rows(plan: Plan, edge_of: Mapping[tuple[int, int], int], count: int, a: Index, b: Index) -> Index:
    """Return the rows between nodes; -1 where both ends are one, or the edge is none of the first."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    edges = [edge_of.get(ends, count) for ends in zip(low.tolist(), high.tolist(), strict=True)]
    edge = np.array(edges, dtype=np.intp)
    row = np.where(edge < count, plan.edge_row[np.minimum(edge, count - 1)], -1)
    to_earth = (high == plan.pivot.size) & (low < high)
    row[to_earth] = plan.earth_row[low[to_earth]]
    return row


def _find_plain(order: Order, plain: Order, lines: Lines, bends: Bends) -> Flags:
    """Return which circuits have no element that the plain order has no row for, (column,)."""
    line_out = (plain.line_row < 0) & (order.line_row >= 0)
    bend_out = (plain.curves.row < 0) & (order.curves.row >= 0)
    present = np.concatenate([lines.conductance_s[line_out] > 0, bends.present[bend_out]])
    return np.logical_not(present.any(axis=0))


def _field_points(loop: Loop) -> list[tuple[str, str]]:
    names = [zone.name for zone in loop.zones] + [c.name for c in (loop.module.channels if loop.module else ())]
    backs = [(f"{chain.back}.in+", f"{chain.back}.in-") for chain in loop.chains if chain.back]
    return [*((f"field.{name}+", f"field.{name}-") for name in names), *backs]


def _unite(loop: Loop, edits: Sequence[Edits]) -> _Union:
    """Gather every element of every circuit; the same addition in two circuits is one element."""
    rows = {e: n for n, e in enumerate(e for e in loop.elements if e.kind is not Kind.LEAK)}
    base = {element.name: element for element in rows}
    now = dict(base)
    changes: list[tuple[int, int, bool]] = []
    resistance: dict[tuple[int, int], float] = {}
    share: dict[tuple[int, int], float] = {}
    for column, circuit in enumerate(edits):
        for edit in circuit:
            _edit_column(edit, now, column, rows, changes, (resistance, share))
        _restore(circuit, now, base)
    present = np.zeros((len(rows), len(edits)), dtype=np.bool_)
    present[: len(base)] = True
    for row, column, there in changes:
        present[row, column] = there
    return _Union(tuple(rows), present, resistance, share)


def _edit_column(
    edit: object,
    now: dict[str, Element],
    column: int,
    rows: dict[Element, int],
    changes: list[tuple[int, int, bool]],
    values: tuple[dict[tuple[int, int], float], dict[tuple[int, int], float]],
) -> None:
    """Carry one edit into one column; ``now`` is what the column's elements are at this point.

    ``changes`` are kept in order: an element with both ends moved is for a moment one that must not stay.
    """
    resistance, share = values
    name = getattr(edit, "element", None)
    if isinstance(name, str) and name not in now:
        raise PhysicsError(f"there is no {name!r} in this loop to change")
    match edit:
        case SetResistance(element, ohm, spread):
            at = (rows[now[element]], column)
            resistance[at] = ohm
            share[at] = spread
        case Remove(element):
            changes.append((rows[now.pop(element)], column, False))
        case Add(element, spread):
            now[element.name] = element
            at = (rows.setdefault(element, len(rows)), column)
            changes.append((*at, True))
            share[at] = spread
        case Move(element, end, terminal):
            old = now[element]
            now[element] = replace(old, a=terminal) if end == "a" else replace(old, b=terminal)
            before, after = (rows[old], column), (rows.setdefault(now[element], len(rows)), column)
            changes += [(*before, False), (*after, True)]
            for known in values:
                if before in known:
                    known[after] = known[before]
        case _:
            return


def _restore(circuit: Edits, now: dict[str, Element], base: Mapping[str, Element]) -> None:
    """Make the elements of one column those of the loop again, for the next."""
    for edit in circuit:
        element = getattr(edit, "element", "")
        name = element.name if isinstance(element, Element) else element
        if name in base:
            now[name] = base[name]
        else:
            now.pop(name, None)


def _number_edges(
    pairs: Sequence[tuple[str, str]], number: Mapping[str, int], known: Mapping[tuple[int, int], int]
) -> dict[tuple[int, int], int]:
    """Return the known edges and, numbered after them, those between more pairs of terminals."""
    edges = dict(known)
    for a, b in pairs:
        if EARTH in (a, b) or a == b or a not in number or b not in number:
            continue
        low, high = sorted((number[a], number[b]))
        edges.setdefault((low, high), len(edges))
    return edges


def _leaks(loop: Loop, node_count: int) -> Array:
    """Return the insulation leak of every node (siemens): no circuit has a node that floats."""
    ohm = next(e.resistance_ohm for e in loop.elements if e.kind is Kind.LEAK)
    return np.full(node_count, 1.0 / (ohm or 1.0))


def _onto(rows: list[int], columns: list[int], values: list[float], shape: tuple[int, int]) -> Matrix:
    return sparse.csr_array((values, (rows, columns)), shape=shape)


def _ends(elements: list[Element], number: dict[str, int]) -> tuple[Index, Index]:
    a = np.array([number[e.a] for e in elements], dtype=np.intp)
    b = np.array([number[e.b] for e in elements], dtype=np.intp)
    return a, b


def _build_lines(union: _Union, chosen: Index, number: dict[str, int]) -> tuple[Lines, OwnValue]:
    elements = [union.elements[n] for n in chosen]
    place = {int(row): n for n, row in enumerate(chosen)}
    base = np.array([1.0 / (e.resistance_ohm or 1.0) for e in elements])
    conductance = np.where(union.present[chosen], base[:, None], 0.0)
    for (row, column), ohm in union.resistance_ohm.items():
        if union.present[row, column]:
            conductance[place[row], column] = 1.0 / ohm
    a, b = _ends(elements, number)
    told = [(place[r], c, s) for (r, c), s in union.share.items() if s and r in place]
    own = OwnValue(
        np.array([r for r, _, _ in told], dtype=np.intp),
        np.array([c for _, c, _ in told], dtype=np.intp),
        np.array([s for _, _, s in told], dtype=np.float64),
    )
    return Lines(tuple(e.name for e in elements), a, b, conductance), own


def _build_bends(union: _Union, chosen: Index, number: dict[str, int]) -> Bends:
    elements = [union.elements[n] for n in chosen]
    curves = [e.curve for e in elements if e.curve is not None]
    most = max((len(c.points) for c in curves), default=0)
    segments = {c: (*c.segments, *[(0.0, 0.0)] * (most - len(c.points))) for c in set(curves)}
    corners = {c: (*c.corners_v, *[np.inf] * (most - len(c.points))) for c in segments}
    table = np.array([segments[c] for c in curves]).reshape(len(curves), most + 1, 2)
    a, b = _ends(elements, number)
    return Bends(
        tuple(e.name for e in elements), a, b, union.present[chosen], table[:, :, 0].copy(), table[:, :, 1].copy(),
        np.array([corners[c] for c in curves]).reshape(len(curves), most),
        np.array([e.home for e in elements], dtype=np.intp), np.array([e.emf_v for e in elements]),
    )  # fmt: skip


def _build_gates(elements: tuple[Element, ...], signal: dict[str, int]) -> Gates:
    gated = [n for n, e in enumerate(elements) if e.gates]
    width = max((len(elements[n].gates) for n in gated), default=1)
    padded = [(*gates, *[gates[0]] * (width - len(gates))) for gates in (elements[n].gates for n in gated)]
    signals = np.array([[signal[g.signal] for g in gates] for gates in padded], dtype=np.intp)
    when = np.array([[g.when for g in gates] for gates in padded], dtype=np.bool_)
    return Gates(np.array(gated, dtype=np.intp), signals.reshape(-1, width), when.reshape(-1, width))


def _build_line_spreads(elements: tuple[Element, ...], lines: Lines, loop: Loop) -> LineSpreads:
    unknown = {u: n for n, u in enumerate(loop.unknowns)}
    row = [n for n, e in enumerate(elements) if e.spreads]
    told = [(unknown[s.unknown], at, s.share) for at, n in enumerate(row) for s in elements[n].spreads]
    shape = (len(unknown), len(row))
    onto = _onto([u for u, _, _ in told], [at for _, at, _ in told], [share for _, _, share in told], shape)
    copper = np.array([elements[n].kind is Kind.CONDUCTOR for n in row], dtype=np.bool_)
    base_ohm = np.array([elements[n].resistance_ohm or 1.0 for n in row])
    part = np.where(copper[:, None], base_ohm[:, None] * lines.conductance_s[row], 1.0)
    return LineSpreads(np.array(row, dtype=np.intp), part, onto)


def _build_spreads(elements: tuple[Element, ...], loop: Loop, width: int) -> Spreads:
    rows = [(n, s) for n, e in enumerate(elements) for s in e.spreads]
    unknown = {u: n for n, u in enumerate(loop.unknowns)}
    in_segment = np.array([[not s.segments or m in s.segments for m in range(width)] for _, s in rows], dtype=np.bool_)
    return Spreads(
        np.array([n for n, _ in rows], dtype=np.intp),
        np.array([-s.share if s.how is How.CURRENT else s.share for _, s in rows]),
        np.array([s.how is How.EMF for _, s in rows], dtype=np.bool_),
        in_segment.reshape(len(rows), width),
        _onto(
            [unknown[s.unknown] for _, s in rows], list(range(len(rows))), [1.0] * len(rows), (len(unknown), len(rows))
        ),
    )


def _build_holds(loop: Loop, edits: Sequence[Edits], signal: dict[str, int]) -> tuple[Flags, Flags]:
    held = np.zeros((len(signal), len(edits)), dtype=np.bool_)
    value = np.zeros_like(held)
    for name, wanted in loop.holds:
        held[signal[name]] = True
        value[signal[name]] = wanted
    for column, circuit in enumerate(edits):
        for edit in circuit:
            if isinstance(edit, Hold):
                held[signal[edit.signal], column] = True
                value[signal[edit.signal], column] = edit.value
    return held, value
