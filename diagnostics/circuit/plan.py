"""A symbolic elimination order that many circuits share.

A node is eliminated by the star–mesh transform: the star of conductances at it becomes a mesh among its neighbours.
Nothing is ever subtracted, so that a 1 mΩ contact and a 1 TΩ leak keep their full relative precision
(the idea of Grassmann, Taghavi and Heyman's algorithm for Markov chains, 1985, from memory).
"""

from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Index = NDArray[np.intp]
# A node at which no curve ends goes before the others while it has no more neighbours: with 4 or 6 all takes as long,
# and a tenth longer where none goes before (measured).
FEW_NEIGHBOURS = 5


class Plan(NamedTuple):
    """The order, and where each conductance lies while it is gone through; earth is node ``pivot.size``.

    The star of the pivot ``n`` are the rows from ``start[n]`` on: an edge to each neighbour, then one to earth.
    ``near`` (row,) is the node at the other end. ``onto`` are the rows that the products of two rows of a star are
    added to, pair by pair, in the order in which they are made; those of the pivot ``n`` begin at ``made[n]``.
    At the first ``head`` pivots no curve ends: they are eliminated once, whatever the segments of the curves.
    ``edge_row`` (edge,) and ``earth_row`` (node,) are where the conductances of the circuit begin; edge ``n`` of the
    input keeps its number, those made on the way follow.
    """

    pivot: Index
    start: Index
    near: Index
    onto: Index
    made: Index
    head: int
    edge_row: Index
    earth_row: Index


@lru_cache(maxsize=16)
def build_plan(node_count: int, edges: tuple[tuple[int, int], ...], bent: frozenset[int]) -> Plan:
    """Return a minimum-degree elimination plan; earth is not a node here, its conductances are kept apart.

    Nodes at which no curve ends, all but those in ``bent``, go first as long as they have few neighbours.
    """
    numbers = {_key(a, b): n for n, (a, b) in enumerate(edges)}
    near: dict[int, set[int]] = {n: set() for n in range(node_count)}
    for a, b in edges:
        near[a].add(b)
        near[b].add(a)
    stars: list[tuple[int, list[int]]] = []
    head = 0
    while near:
        plain = (
            [n for n, others in near.items() if n not in bent and len(others) <= FEW_NEIGHBOURS]
            if head == len(stars)
            else []
        )
        head += bool(plain)
        pivot = min(plain or near, key=lambda node: len(near[node]))
        star = sorted(near.pop(pivot))
        for other in star:
            near[other] |= set(star)
            near[other] -= {pivot, other}
        for a, b in combinations(star, 2):
            numbers.setdefault((a, b), len(numbers))
        stars.append((pivot, star))
    return _lay_out(node_count, stars, numbers, head)


def _lay_out(
    node_count: int, stars: list[tuple[int, list[int]]], numbers: dict[tuple[int, int], int], head: int
) -> Plan:
    start, near = [0], list[int]()
    edge_row, earth_row = np.zeros(len(numbers), dtype=np.intp), np.zeros(node_count, dtype=np.intp)
    for pivot, star in stars:
        for n, other in enumerate(star):
            edge_row[numbers[_key(pivot, other)]] = start[-1] + n
        earth_row[pivot] = start[-1] + len(star)
        near += [*star, node_count]
        start.append(start[-1] + len(star) + 1)
    onto = [
        earth_row[a] if b is None else edge_row[numbers[a, b]]
        for _, star in stars
        for n, a in enumerate(star)
        for b in (*star[n + 1 :], None)
    ]
    pivots = [pivot for pivot, _ in stars]
    made = np.cumsum([0, *(len(star) * (len(star) + 1) // 2 for _, star in stars)])
    order, first, ends, goal, begun = (np.array(some, dtype=np.intp) for some in (pivots, start, near, onto, made))
    return Plan(order, first, ends, goal, begun, head, edge_row, earth_row)


def _key(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)
