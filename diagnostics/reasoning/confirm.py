"""Whether what is settled rests on readings, or on how often such faults are thought to happen; and what would tell.

How often a kind of fault happens is the least known of all numbers here. Where the readings alone, every kind thought
equally likely, do not speak for the repair, one more reading is asked for, if it is worth its minutes.

A fault with a value of its own bends to what was read, and two at once to nearly anything. Before such a repair panel and
field are parted, where *something not modelled* is not ruled out: what each shows by itself, no value bends.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Faults
from diagnostics.wiring import Loop

from .belief import Belief
from .choose import IN_VAIN_MINUTES, Action, Situation, find_best

Array = NDArray[np.float64]

# What the repair must hold with every kind thought equally likely; invented.
EVIDENCE: Final = 0.75
HEALTHY: Final = ""
# Below this *something not modelled* is ruled out, and a fault with a value of its own may be settled on; invented.
MOST_OTHER: Final = 0.01
PARTED: Final = frozenset({"pair_lifted", "lifted", "lifted_supply_on"})


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


def find_parting(situation: Situation, suspects: Sequence[Faults], loop: Loop) -> Action | None:
    """Return the reading that parts panel and field, to be taken before a repair that bends to what was read, or None.

    ``suspects`` are the hypotheses of the situation, in its order.
    """
    if situation.settled is None:
        return None
    able = np.flatnonzero(situation.classes == situation.settled)
    leader = suspects[int(able[np.argmax(situation.probability[able])])]
    bends = situation.not_modelled >= MOST_OTHER and any(fault.value_ohm is not None for fault in leader)
    if len(leader) < 2 and not bends:
        return None
    terminals = {t for fault in leader for t in _list_terminals(loop, fault.end)}
    some = [n for n, m in enumerate(situation.measurements) if m.mode.word in PARTED and m.red in terminals]
    if not some:
        return None
    number = min(some, key=lambda n: situation.minutes[n])
    return Action("measure", situation.minutes[number], situation.measurements[number])


def _list_terminals(loop: Loop, end: str) -> list[str]:
    """Return the plus terminals, of the panel and of a module, between which and the field a loop can be parted."""
    chain = loop.find_chain(end) or loop.chains[0]
    zones = [zone.plus for zone in loop.zones if zone.name in {chain.spec.zone, chain.spec.co_zone}]
    inside = loop.module.channels if loop.module and chain is loop.module_chain else ()
    return [*zones, *(channel.plus for channel in inside)]
