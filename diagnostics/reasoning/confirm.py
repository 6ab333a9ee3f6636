"""Whether what is settled rests on readings, or on how often such faults are thought to happen; and what would tell.

How often a kind of fault happens is the least known of all numbers here. Where the readings alone, every kind thought
equally likely, do not speak for the repair, one more reading is asked for, if it is worth its minutes.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Faults

from .belief import Belief
from .choose import IN_VAIN_MINUTES, Action, Situation, find_best

Array = NDArray[np.float64]

# What the repair must hold with every kind thought equally likely; invented.
EVIDENCE: Final = 0.75
HEALTHY: Final = ""


def weigh_kinds(hypotheses: Sequence[Faults], prior: Belief) -> Array:
    """Return the probability that the kind of each hypothesis had before anything was known, (hypothesis,).

    ``prior`` is of the same hypotheses, *healthy* and single faults.
    """
    kinds = [h[0].kind if h else HEALTHY for h in hypotheses]
    total: dict[str, float] = {}
    for kind, probability in zip(kinds, prior.probability, strict=True):
        total[kind] = total.get(kind, 0.0) + float(probability)
    return np.array([total[kind] for kind in kinds])


def find_confirmation(situation: Situation, kinds: Array) -> Action | None:
    """Return the reading to take before the repair that is settled, or None where the readings speak for it.

    ``kinds`` (hypothesis,) is what the kind of each hypothesis had before anything was known.
    """
    if situation.settled is None:
        return None
    weight = situation.probability / kinds
    weight *= (1 - situation.not_modelled) / weight.sum()
    held = float(weight[situation.classes == situation.settled].sum()) / float(weight.sum())
    if held >= EVIDENCE:
        return None
    level = replace(situation, probability=weight, settled=None)
    best = find_best(level)
    if best is None:
        return None
    number, bits = best
    minutes = situation.minutes[number]
    at_stake = (1 - held) * (situation.repair_minutes[situation.settled] + IN_VAIN_MINUTES)
    return Action("measure", minutes, situation.measurements[number], bits=bits) if minutes <= at_stake else None
