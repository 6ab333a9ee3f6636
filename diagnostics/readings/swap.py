"""Two heads swapped: which heads may change places, and what each fault is then: moved along, left behind, cured."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.faults import Fault, find_touched
from diagnostics.wiring import Detector, Loop

Array = NDArray[np.float64]
Faults = tuple[Fault, ...]
Branches = tuple[tuple[float, Faults], ...]
SWAPPED = ("this_place", "other_place", "both_places", "neither_place")


def find_neighbour(loop: Loop, name: str) -> str:
    """Return the detector whose head changes places with this one's: the next towards the panel, else the next beyond.

    Both are heads of one kind on one loop whose order is known; empty where there is none.
    """
    chain = loop.find_chain(name)
    if chain is None or not chain.has_order or chain.first.is_contact:
        return ""
    kinds = [(spec.profile, spec.values) for spec in chain.spec.all_detectors]
    names = [d.name for d in chain.detectors]
    own = names.index(name)
    order = (*range(own - 1, -1, -1), *range(own + 1, len(names)))
    return next((names[n] for n in order if kinds[n] == kinds[own]), "")


def swap_heads(loop: Loop, faults: Faults, pair: tuple[str, str]) -> Branches:
    """Return what faults may be once the heads of two places are swapped, each with its chance; together 1.

    A fault that lives in the head goes along; one of how the head sits is gone once it is fitted anew; one in base or
    cable stays. Where a kind can be either (steam or dirt), its shares in the catalogue say how often.
    """
    branches: list[tuple[float, Faults]] = [(1.0, ())]
    other = dict(zip(pair, reversed(pair), strict=True))
    for fault in faults:
        ways: list[tuple[float, Faults]] = [(1.0, (fault,))]
        if fault.place in other:
            head = fault.data.head
            moved = replace(fault, place=other[fault.place])
            ways = [(head.moves, (moved,)), (head.cured, ()), (1 - head.moves - head.cured, (fault,))]
        branches = [(p * q, (*some, *more)) for p, some in branches for q, more in ways if q > 0]
    return tuple((p, _drop_clashing(loop, some)) for p, some in branches)


def _drop_clashing(loop: Loop, faults: Faults) -> Faults:
    """Return faults without those that change what an earlier one has changed: no head is wrong twice."""
    changed, kept = set[str](), list[Fault]()
    for fault in faults:
        touched = find_touched(loop, fault)
        kept += [] if touched & changed else [fault]
        changed |= touched
    return tuple(kept)


@dataclass(frozen=True, slots=True)
class Fate:
    """Hypotheses after a swap: every one that can come of it, and what each of the old ones becomes, with chances."""

    every: tuple[Faults, ...]
    becomes: tuple[tuple[tuple[float, int], ...], ...]


def find_fates(loop: Loop, hypotheses: Sequence[Faults], pair: tuple[str, str]) -> Fate:
    """Return what hypotheses become when the heads of two places are swapped."""
    branches = [swap_heads(loop, h, pair) for h in hypotheses]
    numbers = {h: n for n, h in enumerate(dict.fromkeys(h for some in branches for _, h in some))}
    return Fate(tuple(numbers), tuple(tuple((p, numbers[h]) for p, h in some) for some in branches))


def find_swap_chances(fate: Fate, seen: Array) -> tuple[tuple[str, ...], Array]:
    """Return the chances of each answer, (hypothesis, answer).

    ``seen`` (place, sign, fate) are the chances that this place and the other one show alarm, and that they are dark or
    silent: where one is in alarm that is what is told, as a head in alarm takes the volts from the others on its pair.
    """
    alarm, silent = _spread(*seen[:, 0]), _spread(*seen[:, 1])
    told = alarm + alarm[:, -1:] * silent
    told[:, -1] = alarm[:, -1] * silent[:, -1]
    chance = np.array([sum((p * told[n] for p, n in some), np.zeros(len(SWAPPED))) for some in fate.becomes])
    return SWAPPED, chance


def _spread(here: Array, there: Array) -> Array:
    """Return the chances of here alone, there alone, both and neither, (fate, answer)."""
    return np.stack([here * (1 - there), (1 - here) * there, here * there, (1 - here) * (1 - there)], axis=1)


def rate_signs(detector: Detector, lamp: tuple[tuple[str, ...], Array], test: tuple[tuple[str, ...], Array]) -> Array:
    """Return the chances that a detector's lamp shows alarm, and that it is dark or its test silent, (sign, fate)."""
    alarm, dark = (lamp[1][:, lamp[0].index(word)] for word in ("alarm", "dark"))
    silent = test[1][:, test[0].index("no_report")]
    return np.stack([alarm, np.maximum(dark, silent) if detector.shows_power else silent])
