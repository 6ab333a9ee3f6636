"""Repairs: what would mend each hypothesis, and how probable each repair is."""

from collections.abc import Sequence

from diagnostics.readings import Faults

from .answer import NOTHING
from .belief import Belief


def find_repair_class(faults: Faults) -> tuple[str, str]:
    """Return remedy and spot of a hypothesis; two faults are named together."""
    if not faults:
        return NOTHING
    remedies, spots = zip(*(f.repair_class for f in faults), strict=True)
    return (" + ".join(remedies), " + ".join(spots))


def list_repairs(hypotheses: Sequence[Faults], belief: Belief) -> tuple[tuple[str, str], ...]:
    """Return the repair to make under each hypothesis: of two faults at once that which is the surer over all."""
    halves = [[NOTHING] if not h else [f.repair_class for f in h] for h in hypotheses]
    weight: dict[tuple[str, str], float] = {}
    for some, probability in zip(halves, belief.probability, strict=True):
        for repair in set(some):
            weight[repair] = weight.get(repair, 0.0) + float(probability)
    return tuple(max(some, key=lambda repair: weight[repair]) for some in halves)


def weigh_repairs(belief: Belief, repairs: Sequence[tuple[str, str]]) -> dict[tuple[str, str], float]:
    """Return the probability of each repair."""
    weight: dict[tuple[str, str], float] = {}
    for repair, probability in zip(repairs, belief.probability, strict=True):
        weight[repair] = weight.get(repair, 0.0) + float(probability)
    return weight
