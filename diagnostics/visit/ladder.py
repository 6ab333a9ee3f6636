"""What else is worth reading where one climbs anyway: read before the climb, answered after it, each on its own."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Measurement
from diagnostics.reasoning import (
    Action,
    PlanAhead,
    Policy,
    Situation,
    find_information,
    rate_one,
)
from diagnostics.reasoning.choose import build_outcomes
from diagnostics.reasoning.lazily import prepare

Array = NDArray[np.float64]
# Information (bits) that a reading must add to the suggested one to be worth a line; invented.
LEAST_ADDED_BITS: Final = 0.05
MOST_BESIDE: Final = 2


class OnTheSameLadder:
    """A policy that chooses as another does, and notes what else to read at the same place."""

    def __init__(self, policy: Policy | None = None) -> None:
        """Keep who chooses; planning ahead by default."""
        self.policy: Policy = policy or PlanAhead()
        self.beside: tuple[Measurement, ...] = ()

    def choose(self, situation: Situation) -> Action:
        """Return the next action of the other policy."""
        action = self.policy.choose(situation)
        self.beside = find_beside(situation, action)
        return action


def find_beside(situation: Situation, action: Action) -> tuple[Measurement, ...]:
    """Return what tells more at the detector of the suggested step, best first; nothing is disturbed for it.

    Empty for a step that needs no ladder: nobody is sent up one for a lamp that is seen from the floor.
    """
    m = action.measurement
    if m is None or action.again or "ladder" not in m.tools or _disturbs(m):
        return ()
    found: list[Measurement] = []
    for other, bits in _rank_there(situation, m):
        if bits >= LEAST_ADDED_BITS and _adds(situation, (m, *found), other):
            found.append(other)
    return tuple(found[:MOST_BESIDE])


def _rank_there(situation: Situation, m: Measurement) -> list[tuple[Measurement, float]]:
    """Return what else can be read at the detector of a step with its bits, most bits a minute first.

    Only of these are forecasts made: those of every detector would take longer than the climb is worth.
    """
    every = situation.measurements
    some = [n for n, o in enumerate(every) if o.place == m.place and o.key != m.key and not _disturbs(o)]
    prepare(situation.forecasts, some)
    prepare(situation.shifts, some)
    rows = [(every[n], rate_one(situation, n), situation.minutes[n]) for n in some]
    return [(other, bits) for other, bits, _ in sorted(rows, key=lambda row: (-row[1] / row[2], row[0].key))]


def _disturbs(m: Measurement) -> bool:
    return m.mode.text != "standby" or bool({"put_back", "outputs"} & set(m.cautions))


def _adds(situation: Situation, known: tuple[Measurement, ...], other: Measurement) -> bool:
    """Return whether a reading adds enough to each of those known: what any of them tells already is left out."""
    return all(rate_added(situation, m, other) >= LEAST_ADDED_BITS for m in known)


def rate_added(situation: Situation, known: Measurement, other: Measurement) -> float:
    """Return the bits about the repair that ``other`` adds once ``known`` has been read.

    Readings are taken as independent under each hypothesis. Two of one kind are not: they share the supply, the cable
    and the meter, and even a repeat would seem to add something. What a repeat of ``known`` would add is taken off.
    """
    first, second = (_find_chance(situation, m) for m in (known, other))
    base = _pair(first, first) if other.kind == known.kind else first
    return find_information(_join(situation, _pair(first, second))) - find_information(_join(situation, base))


def _pair(first: Array, second: Array) -> Array:
    """Return the chance of each pair of outcomes, (hypothesis, pair)."""
    return (first[:, :, None] * second[:, None, :]).reshape(first.shape[0], -1)


def _find_chance(situation: Situation, m: Measurement) -> Array:
    at = [other.key for other in situation.measurements].index(m.key)
    return build_outcomes(situation.forecasts[at], *situation.shifts[at], situation.meter)


def _join(situation: Situation, chance: Array) -> Array:
    """Return the joint distribution of repair class and outcome; what is not modelled shows anything."""
    count = int(situation.classes.max()) + 1
    joint = np.zeros((count + 1, chance.shape[1]))
    np.add.at(joint, situation.classes, chance * situation.probability[:, None])
    joint[count] = situation.not_modelled / chance.shape[1]
    return joint
