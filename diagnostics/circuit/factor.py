"""Star–mesh elimination of a whole batch at once: every circuit is a column."""

import itertools
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from .plan import Plan, Round

Array = NDArray[np.float64]
Index = NDArray[np.intp]
# The C library (glibc) gives large arrays back to the system and takes them anew, page by page, each time; once one of
# this size was freed it keeps what is smaller: a sixth less time in all (measured).
np.empty(30 << 20, dtype=np.uint8)
# So many columns are solved at once; 100 or 400 at once take a tenth to a third longer (measured).
COLUMNS_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class _Stage:
    """One round in a layout: its pivots' rows lie together, so that they are a slice and nothing has to be gathered.

    ``rows`` and ``pivots`` are slices; each pivot has ``width`` rows: ``degree`` edges, earth, then what is injected.
    Row ``first`` of the shares times row ``second`` is added to a row; ``first`` counts shares, ``second`` the stage's
    own rows. The first of these products go to ``onto``, the others, ``again``, to as many of it from its start on.
    ``neighbours`` is (pivot, degree), in places.
    """

    rows: slice
    pivots: slice
    degree: int
    width: int
    first: Index
    second: Index
    onto: Index
    again: tuple[slice, ...]
    neighbours: Index


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where each value of a plan lies: rows of edges, of earth (node,) and of what is injected (node, side).

    ``place`` (node and earth,) is where a node's volts are found.
    """

    stages: tuple[_Stage, ...]
    edge_row: Index
    earth_row: Index
    injected_row: Index
    place: Index
    row_count: int


def solve_nodes(plan: Plan, edge_s: Array, earth_s: Array, injected_a: Array) -> Array:
    """Return the volts of all nodes and, last, of earth, (node, side, columns).

    What is injected goes through the elimination like one more conductance at each node.

    Parameters
    ----------
    plan
        The symbolic order.
    edge_s
        Conductances (siemens) of the plan's first edges, shape (edges, columns); the others are 0.
    earth_s
        Conductances to earth (siemens), positive, shape (nodes, columns).
    injected_a
        Currents (amperes) into each node, (nodes, sides, columns).
    """
    sides, columns = injected_a.shape[1:]
    layout = _lay_out(plan, sides)
    some = -(-columns // max(1, -(-columns // COLUMNS_AT_ONCE)))
    volts = np.empty((layout.place.size, sides, columns))
    for start in range(0, columns, max(1, some)):
        now = slice(start, start + some)
        volts[:, :, now] = _solve_some(layout, edge_s[:, now], earth_s[:, now], injected_a[:, :, now])
    return volts


def _solve_some(layout: _Layout, edge_s: Array, earth_s: Array, injected_a: Array) -> Array:
    sides, columns = injected_a.shape[1:]
    rows = np.zeros((layout.row_count, columns))
    rows[layout.edge_row[: edge_s.shape[0]]] = edge_s
    rows[layout.earth_row] = earth_s
    rows[layout.injected_row] = injected_a
    shares = [_eliminate(stage, rows, columns) for stage in layout.stages]
    volts = np.zeros((layout.place.size, sides, columns))
    for stage, share in zip(reversed(layout.stages), reversed(shares), strict=True):
        near = volts.take(stage.neighbours, axis=0)
        near *= share[:, : stage.degree, None]
        np.add(np.add.reduce(near, axis=1), share[:, stage.degree + 1 :], out=volts[stage.pivots])
    found: Array = volts.take(layout.place, axis=0)
    return found


def _eliminate(stage: _Stage, rows: Array, columns: int) -> Array:
    """Turn the stars of a round into meshes; return each pivot's rows over its whole conductance."""
    own = rows[stage.rows]
    star = own.reshape(-1, stage.width, columns)
    share: Array = star / np.add.reduce(star[:, : stage.degree + 1], axis=1)[:, None]
    mesh = share.reshape(own.shape).take(stage.first, axis=0)
    mesh *= own.take(stage.second, axis=0)
    total = mesh[: stage.onto.size]
    for more in stage.again:
        total[: more.stop - more.start] += mesh[more]
    total += rows.take(stage.onto, axis=0)
    rows[stage.onto] = total
    return share


@lru_cache(maxsize=32)
def _lay_out(plan: Plan, sides: int) -> _Layout:
    """Return the layout of a plan for as many sides."""
    nodes = [node for round_ in plan.rounds for node in round_.nodes]
    place = np.zeros(len(nodes) + 1, dtype=np.intp)
    place[[*nodes, len(nodes)]] = np.arange(len(nodes) + 1)
    edge_row, earth_row = np.zeros(plan.edge_count, dtype=np.intp), np.zeros(len(nodes), dtype=np.intp)
    top = 0
    for round_ in plan.rounds:
        degree = round_.degree
        for node, edges in zip(round_.nodes, round_.edges, strict=True):
            edge_row[list(edges)] = np.arange(top, top + len(edges))
            earth_row[node] = top + degree
            top += degree + 1 + sides
    injected_row = earth_row[:, None] + 1 + np.arange(sides)
    stages = []
    low, top = 0, 0
    for round_ in plan.rounds:
        stages.append(_lay_out_stage(round_, (top, low), sides, (edge_row, earth_row, place)))
        low, top = stages[-1].pivots.stop, stages[-1].rows.stop
    return _Layout(tuple(stages), edge_row, earth_row, injected_row, place, top)


def _lay_out_stage(round_: Round, start: tuple[int, int], sides: int, where: tuple[Index, Index, Index]) -> _Stage:
    edge_row, earth_row, place = where
    degree, width = round_.degree, round_.degree + 1 + sides
    top, low = start
    first, second, onto = [], [], []
    neighbours = np.full((len(round_.nodes), degree), place.size - 1, dtype=np.intp)
    for n, (star, mesh) in enumerate(zip(round_.neighbours, round_.mesh, strict=True)):
        neighbours[n, : len(star)] = place[list(star)]
        for (i, j), edge in zip(combinations(range(len(star)), 2), mesh, strict=True):
            first.append(n * width + i)
            second.append(n * width + j)
            onto.append(edge_row[edge])
        for i, other in enumerate(star):
            for side in range(1 + sides):
                first.append(n * width + i)
                second.append(n * width + degree + side)
                onto.append(earth_row[other] + side)
    rows = slice(top, top + len(round_.nodes) * width)
    pivots = slice(low, low + len(round_.nodes))
    flat = [np.array(values, dtype=np.intp) for values in (first, second, onto)]
    order, layers = _lay_in_layers(flat[2])
    first_of, second_of, target = (values[order] for values in flat)
    return _Stage(rows, pivots, degree, width, first_of, second_of, target[: layers[0].stop], layers[1:], neighbours)


def _lay_in_layers(onto: Index) -> tuple[Index, tuple[slice, ...]]:
    """Return an order of additions, by layers that hold each row once, the rows with the most additions first.

    Also returned is where each layer lies.
    """
    _, row, count = np.unique(onto, return_inverse=True, return_counts=True)
    nth = np.empty_like(row)
    nth[np.argsort(row, kind="stable")] = np.arange(row.size) - np.repeat(count.cumsum() - count, count)
    stops = [0, *np.bincount(nth, minlength=1).cumsum().tolist()]
    return np.lexsort((row, -count[row], nth)), tuple(itertools.starmap(slice, itertools.pairwise(stops)))
