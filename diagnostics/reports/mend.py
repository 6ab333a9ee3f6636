"""What exactly to mend, by conductor, terminal and contact, and what the zone reads once it is right."""

from dataclasses import dataclass, replace

from diagnostics.faults import Fault
from diagnostics.reasoning import Diagnosis
from diagnostics.visit import Recheck, list_rechecks, write_class

from .shares import UNPLACED, find_position, is_sought, put_value
from .words import Words, say

_LEAST, _MOST = 0.2, 3  # share of a class that a fault must have to be told, and how many are told
_CONDUCTORS = ("conductor_open", "joint_resistive", "pair_short", "leak")


@dataclass(frozen=True, slots=True)
class Mend:
    """One fault that a repair may be for: as a case keeps it, by name, and what to do about it at which terminal."""

    fault: str
    name: str
    told: str


def list_mends(d: Diagnosis, repair: tuple[str, str], words: Words) -> tuple[Mend, ...]:
    """Return the likeliest faults that a repair is for, likeliest first: it is one of them."""
    some = _unplace(d, _weigh(d, repair))
    kinds: dict[tuple[str, str], float] = {}
    for fault, share in some.items():
        kinds[fault.kind, fault.place] = kinds.get((fault.kind, fault.place), 0.0) + share
    likely = [key for key, share in kinds.items() if share >= _LEAST * sum(kinds.values())][:_MOST]
    return tuple(_build_mend(d, next(f for f in some if (f.kind, f.place) == key), words) for key in likely)


def _build_mend(d: Diagnosis, fault: Fault, words: Words) -> Mend:
    name = words.faults(put_value(d, (fault,)))
    return Mend(name if fault.place == UNPLACED else fault.text, name, _tell_mend(fault, name, words))


def _weigh(d: Diagnosis, repair: tuple[str, str]) -> dict[Fault, float]:
    """Return the probability of each fault that a repair mends, alone or with another; most probable first."""
    parts = set(zip(repair[0].split(" + "), repair[1].split(" + "), strict=True))
    found: dict[Fault, float] = {}
    for candidate in d.candidates:
        for fault in candidate.faults:
            if fault.repair_class in parts:
                found[fault] = found.get(fault, 0.0) + candidate.probability
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _unplace(d: Diagnosis, some: dict[Fault, float]) -> dict[Fault, float]:
    """Return faults in detectors that have to be found as one for each kind, without a place."""
    if find_position(d):
        return some
    found: dict[Fault, float] = {}
    for fault, share in some.items():
        named = replace(fault, place=UNPLACED) if is_sought((fault,)) else fault
        found[named] = found.get(named, 0.0) + share
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _tell_mend(fault: Fault, told: str, words: Words) -> str:
    mend = words.mend(fault.kind, fault.place)
    between = _tell_between(fault, words) if fault.kind in _CONDUCTORS else ""
    return ". ".join(text for text in (f"{told}{between}", mend) if text) + "."


def _tell_between(fault: Fault, words: Words) -> str:
    """Return from which terminal to which a conductor goes, or a pair; empty where it is none of the loop's."""
    core = words.loop.by_name.get(f"wire.{fault.place}")
    if core is not None:
        return f": {say('mend_between', one=_name_end(core.a, words), other=_name_end(core.b, words))}"
    pair = [words.loop.by_name[name] for name in words.loop.pairs.get(fault.place, ())]
    if not pair:
        return ""
    one = " / ".join(_name_end(e.a, words) for e in pair)
    other = " / ".join(_name_end(e.b, words) for e in pair)
    return f": {say('mend_between', one=one, other=other)}"


def _name_end(terminal: str, words: Words) -> str:
    """Return a terminal by name; field wires end on the panel's screws, or on the module's."""
    place, _, end = terminal.partition(".")
    owner = "module" if end.startswith("loop") else "panel"
    return words.terminal(f"{owner}.{end}" if place == "field" else terminal)


def tell_rechecks(repair: tuple[str, str], words: Words) -> tuple[str, ...]:
    """Return which zone volts to measure again once a repair is made, and what a sound loop shows."""
    return tuple(_tell_recheck(r, words) for r in list_rechecks(words.loop, write_class(repair)))


def _tell_recheck(recheck: Recheck, words: Words) -> str:
    red, black = words.terminal(recheck.measurement.red), words.terminal(recheck.measurement.black)
    return say("mend_recheck", red=red, black=black, range=tell_range(recheck, words))


def tell_range(recheck: Recheck, words: Words) -> str:
    """Return between which volts a sound loop lies; that the panel is assumed is said."""
    told = words.range(recheck.low_v, recheck.high_v, "V")
    return say("range_assumed", words.region, range=told) if recheck.assumed else told
