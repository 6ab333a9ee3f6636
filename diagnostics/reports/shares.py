"""How probable it is that each place has the fault: one count for picture, list and verdict."""

from collections.abc import Iterable
from dataclasses import replace

from diagnostics.faults import Fault
from diagnostics.readings import Faults
from diagnostics.reasoning import Diagnosis, SuspectGroup
from diagnostics.visit import once

SOMEWHERE = "detector"  # the spot of a fault in a detector whose place nobody knows
UNPLACED = "somewhere"  # the word for such a place in sentences
_LEADS = 0.9  # share of all such faults from which one position along the cable is named


@once
def find_shares(diagnosis: Diagnosis) -> dict[str, float]:
    """Return the probability of each spot where a repair would be made, most probable first; healthy is left out.

    Two faults at once at different spots are one entry, ``end + run det3``: it counts once in each of them. A fault in
    a detector that has to be found is at ``SOMEWHERE`` until one position along the cable stands out.
    """
    leader = find_position(diagnosis)
    shares: dict[str, float] = {}
    for candidate in diagnosis.candidates:
        spots = dict.fromkeys(_find_spot(fault, leader) for fault in candidate.faults)
        if spots:
            key = " + ".join(spots)
            shares[key] = shares.get(key, 0.0) + candidate.probability
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


@once
def find_position(diagnosis: Diagnosis) -> str:
    """Return the detector along the cable that nearly all faults of detectors to be found lie in, or an empty text."""
    weight: dict[str, float] = {}
    for candidate in diagnosis.candidates:
        for name in {_find_name(fault) for fault in candidate.faults if _is_somewhere(fault)}:
            weight[name] = weight.get(name, 0.0) + candidate.probability
    leader = max(weight, key=lambda name: weight[name], default="")
    return leader if leader and weight[leader] >= _LEADS * sum(weight.values()) else ""


@once
def merge_sought(diagnosis: Diagnosis) -> tuple[tuple[float, tuple[Faults, ...]], ...]:
    """Return the leading groups as they are told, each with its probability and its members, most probable first.

    Groups that are one and the same fault in detectors whose places nobody knows are one: no list tells them apart.
    """
    leader = find_position(diagnosis)
    found: dict[object, list[SuspectGroup]] = {}
    for number, group in enumerate(diagnosis.groups):
        kinds = _find_sought_kinds(group)
        found.setdefault(number if leader or not kinds else kinds, []).append(group)
    merged = [_merge(diagnosis, some) for some in found.values()]
    return tuple(sorted(merged, key=lambda item: -item[0]))


def _merge(diagnosis: Diagnosis, some: list[SuspectGroup]) -> tuple[float, tuple[Faults, ...]]:
    """Return the members of groups with their probability; of several groups also what each alone was too small for."""
    members = tuple(member for group in some for member in group.members)
    if len(some) == 1:
        return some[0].probability, members
    kinds = {member[0].kind for member in members}
    every = (c for c in diagnosis.candidates if is_sought(c.faults) and c.faults[0].kind in kinds)
    return sum(c.probability for c in every), members


def is_sought(faults: Faults) -> bool:
    """Return whether this is a single fault in a detector that has to be found."""
    return len(faults) == 1 and _is_somewhere(faults[0])


def _find_sought_kinds(group: SuspectGroup) -> frozenset[str]:
    """Return the kinds of a group that is nothing but faults in detectors to be found; else an empty set."""
    return _list_kinds(group.members) if all(is_sought(member) for member in group.members) else frozenset()


def _list_kinds(members: Iterable[Faults]) -> frozenset[str]:
    return frozenset(member[0].kind for member in members)


def _is_somewhere(fault: Fault) -> bool:
    return fault.repair_class[1] == SOMEWHERE


def _find_name(fault: Fault) -> str:
    return fault.place.partition(".")[0]


def _find_spot(fault: Fault, leader: str) -> str:
    named = _is_somewhere(fault) and _find_name(fault) == leader
    return leader if named else fault.repair_class[1]


def put_value(d: Diagnosis, faults: Faults) -> Faults:
    """Return a hypothesis with its own ohms as the readings make them, for people to read; others as they are."""
    ohm = next((c.value_ohm for c in d.candidates if c.faults == faults), None)
    return faults if ohm is None else (replace(faults[0], value_ohm=ohm),)
