"""Star–mesh elimination of a whole batch at once: every circuit is a column."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .plan import Plan

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Factor:
    """What is left of the conductances after elimination: shares of the neighbours, and one resistance, per pivot.

    ``shares`` of a round have shape (pivot, degree, columns); ``resistance_ohm`` has shape (pivot, columns).
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
    for now in plan.rounds:
        star = edge_s[now.edges]
        to_earth = earth_s[now.nodes]
        resistance = 1.0 / (star.sum(axis=1) + to_earth)
        share = star * resistance[:, None]
        if now.neighbours.size:
            earth_s[now.neighbours] += share * to_earth[:, None]
        if now.mesh.size:
            edge_s[now.mesh] += share[:, now.first] * star[:, now.second]
        shares.append(share)
        resistances.append(resistance)
    return Factor(plan, tuple(shares), tuple(resistances))


def solve_factor(factor: Factor, injected_a: Array) -> Array:
    """Return node volts for injected currents (amperes), both of shape (nodes, columns) or (nodes, sides, columns).

    ``injected_a`` is overwritten.
    """
    sided = injected_a.ndim == 3
    shares = tuple(s[:, :, None, :] for s in factor.shares) if sided else factor.shares
    resistances = tuple(r[:, None, :] for r in factor.resistance_ohm) if sided else factor.resistance_ohm
    for now, share in zip(factor.plan.rounds, shares, strict=True):
        if now.neighbours.size:
            injected_a[now.neighbours] += share * injected_a[now.nodes][:, None]
    volts = injected_a
    back = zip(reversed(factor.plan.rounds), reversed(shares), reversed(resistances), strict=True)
    for now, share, resistance in back:
        own = injected_a[now.nodes] * resistance
        volts[now.nodes] = own + (share * volts[now.neighbours]).sum(axis=1) if now.neighbours.size else own
    return volts
