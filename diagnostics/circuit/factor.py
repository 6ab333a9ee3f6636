"""Star–mesh elimination of a whole batch at once: every circuit is a column."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .plan import Plan

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Factor:
    """What is left of the conductances after elimination: one share per neighbour, and one resistance, per pivot.

    ``shares`` of a pivot have shape (neighbours, columns); ``resistance_ohm`` has shape (columns,).
    """

    plan: Plan
    shares: tuple[Array, ...]
    resistance_ohm: tuple[Array, ...]


def build_factor(plan: Plan, edge_s: Array, earth_s: Array) -> Factor:
    """Eliminate every node.

    Parameters
    ----------
    plan
        The symbolic order.
    edge_s
        Conductances (siemens), shape (plan.edge_count, columns); it is overwritten.
    earth_s
        Conductances to earth (siemens), positive, shape (nodes, columns); it is overwritten.
    """
    shares: list[Array] = []
    resistances: list[Array] = []
    for pivot in plan.pivots:
        star = edge_s[pivot.edges]
        to_earth = earth_s[pivot.node]
        resistance = 1.0 / (star.sum(axis=0) + to_earth)
        share = star * resistance
        if pivot.neighbours.size:
            earth_s[pivot.neighbours] += share * to_earth
        if pivot.mesh.size:
            edge_s[pivot.mesh] += share[pivot.first] * star[pivot.second]
        shares.append(share)
        resistances.append(resistance)
    return Factor(plan, tuple(shares), tuple(resistances))


def solve_factor(factor: Factor, injected_a: Array) -> Array:
    """Return node volts for injected currents (amperes), both of shape (nodes, columns) or (nodes, sides, columns).

    ``injected_a`` is overwritten.
    """
    shares = factor.shares if injected_a.ndim == 2 else tuple(s[:, None, :] for s in factor.shares)
    for pivot, share in zip(factor.plan.pivots, shares, strict=True):
        if pivot.neighbours.size:
            injected_a[pivot.neighbours] += share * injected_a[pivot.node]
    volts = injected_a
    rows = zip(reversed(factor.plan.pivots), reversed(shares), reversed(factor.resistance_ohm), strict=True)
    for pivot, share, resistance in rows:
        own = injected_a[pivot.node] * resistance
        volts[pivot.node] = own + (share * volts[pivot.neighbours]).sum(axis=0) if pivot.neighbours.size else own
    return volts
