"""One symbolic elimination order for every circuit of a batch.

A node is eliminated by the star–mesh transform: the star of conductances at it becomes a mesh among its neighbours.
Nothing is ever subtracted, so that a 1 mΩ contact and a 1 TΩ leak keep their full relative precision
(the idea of Grassmann, Taghavi and Heyman's algorithm for Markov chains, 1985, from memory).
"""

import heapq
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Pivot:
    """How one node is eliminated: its neighbours, the edges to them, and the mesh edges that the star becomes.

    ``first`` and ``second`` index the neighbours of each mesh edge; all arrays are intp.
    """

    node: int
    neighbours: Index
    edges: Index
    mesh: Index
    first: Index
    second: Index


@dataclass(frozen=True, slots=True)
class Plan:
    """The pivots in order, and the number of edges with all fill-in; edge ``n`` of the input keeps its number."""

    pivots: tuple[Pivot, ...]
    edge_count: int


@lru_cache(maxsize=16)
def build_plan(node_count: int, edges: tuple[tuple[int, int], ...]) -> Plan:
    """Return a minimum-degree elimination plan; earth is not a node here, its conductances are kept apart."""
    numbers = {_key(a, b): n for n, (a, b) in enumerate(edges)}
    near: list[set[int]] = [set() for _ in range(node_count)]
    for a, b in edges:
        near[a].add(b)
        near[b].add(a)
    queue = [(len(near[n]), n) for n in range(node_count)]
    heapq.heapify(queue)
    done = [False] * node_count
    pivots: list[Pivot] = []
    while queue:
        degree, node = heapq.heappop(queue)
        if done[node] or degree != len(near[node]):
            continue
        done[node] = True
        pivots.append(_eliminate(node, near, numbers))
        for other in pivots[-1].neighbours.tolist():
            heapq.heappush(queue, (len(near[other]), other))
    return Plan(tuple(pivots), len(numbers))


def _eliminate(node: int, near: list[set[int]], numbers: dict[tuple[int, int], int]) -> Pivot:
    neighbours = sorted(near[node])
    pairs = [(i, j) for i in range(len(neighbours)) for j in range(i + 1, len(neighbours))]
    mesh = [numbers.setdefault(_key(neighbours[i], neighbours[j]), len(numbers)) for i, j in pairs]
    edges = [numbers[_key(node, other)] for other in neighbours]
    for other in neighbours:
        near[other] |= set(neighbours)
        near[other] -= {node, other}
    first, second = ([i for i, _ in pairs], [j for _, j in pairs])
    return Pivot(node, *(_index(x) for x in (neighbours, edges, mesh, first, second)))


def _key(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _index(values: Iterable[int]) -> Index:
    return np.fromiter(values, dtype=np.intp)
