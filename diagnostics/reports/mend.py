"""What exactly to mend, by conductor, terminal and contact, and what the zone reads once it is right."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from diagnostics.faults import Fault
from diagnostics.reasoning import Diagnosis, foresee_out
from diagnostics.units import format_quantity
from diagnostics.visit import Recheck, list_rechecks, write_class

from .record_words import tell_foreseen
from .shares import UNPLACED, find_position, is_sought, put_value
from .words import Words, say

# A fault is told where it has this share of its class, or is not far behind the likeliest: a class may be spread over
# many places, of which none has much.
_LEAST, _BEHIND = 0.2, 0.5
_NEAR, _MOST_KEPT = 0.1, 20  # share of the likeliest of its class that the record keeps a fault from
_LEAST_OF_ALL, _MOST_OF_ALL = 0.02, 4  # the same of the likeliest of all
_CONDUCTORS = ("conductor_open", "joint_resistive", "pair_short", "leak")


@dataclass(frozen=True, slots=True)
class Mend:
    """One fault that a repair may be for: as a case keeps it, by name, what to do about it, and the class of that."""

    fault: str
    name: str
    told: str
    repair: tuple[str, str]


def list_mends(d: Diagnosis, repair: tuple[str, str], words: Words) -> tuple[Mend, ...]:
    """Return the likeliest faults that a repair is for, likeliest first: it is one of them.

    Of a repair in several parts, for several faults at once, those of each part, part after part.
    """
    parts = zip(repair[0].split(" + "), repair[1].split(" + "), strict=True)
    return tuple(_build_mend(d, fault, words) for part in parts for fault in _find_likely(_weigh_kinds(d, part)))


def list_mend_places(mends: Iterable[Mend]) -> tuple[str, ...]:
    """Return where the faults are that are to be mended, as faults name places; without those that have to be found."""
    return tuple(dict.fromkeys(mend.fault.rpartition("@")[2] for mend in mends if "@" in mend.fault))


def _find_likely(kinds: dict[Fault, float]) -> list[Fault]:
    least = min(_LEAST * sum(kinds.values()), _BEHIND * max(kinds.values(), default=0.0))
    return [fault for fault, share in kinds.items() if share >= least][:_MOST_KEPT]


def list_suspected(d: Diagnosis, repair: tuple[str, str], words: Words) -> tuple[str, ...]:
    """Return the faults that a repair is for as a case keeps them, likeliest first: all that are not far behind."""
    kinds = _weigh_kinds(d, repair)
    near = [fault for fault, share in kinds.items() if share >= _NEAR * max(kinds.values())][:_MOST_KEPT]
    return tuple(_build_mend(d, fault, words).fault for fault in near)


def _weigh_kinds(d: Diagnosis, repair: tuple[str, str]) -> dict[Fault, float]:
    """Return the probability of each kind at each place that a repair mends, most probable first."""
    parts = set(zip(repair[0].split(" + "), repair[1].split(" + "), strict=True))
    some = _unplace(d, {fault: share for fault, share in _weigh(d).items() if fault.repair_class in parts})
    return dict(sorted(_merge_values(some).items(), key=lambda item: -item[1]))


def list_likeliest(d: Diagnosis, words: Words) -> tuple[Mend, ...]:
    """Return the likeliest faults of all, whatever mends them, likeliest first."""
    kinds = sorted(_merge_values(_unplace(d, _weigh(d))).items(), key=lambda item: -item[1])
    return tuple(_build_mend(d, fault, words) for fault, share in kinds if share >= _LEAST_OF_ALL)[:_MOST_OF_ALL]


def _merge_values(some: dict[Fault, float]) -> dict[Fault, float]:
    """Return the probability of each kind at each place, under its likeliest value; in the order given."""
    found: dict[tuple[str, str], Fault] = {}
    shares: dict[Fault, float] = {}
    for fault, share in some.items():
        first = found.setdefault((fault.kind, fault.place), fault)
        shares[first] = shares.get(first, 0.0) + share
    return shares


def _build_mend(d: Diagnosis, fault: Fault, words: Words) -> Mend:
    valued = put_value(d, (fault,))
    name, kept = words.faults(valued), ",".join(f.text for f in valued)
    told = _tell_mend(fault, name, words)
    return Mend(name if fault.place == UNPLACED else kept, name, told, fault.repair_class)


def _weigh(d: Diagnosis) -> dict[Fault, float]:
    """Return the probability of each fault, alone or with another; most probable first."""
    found: dict[Fault, float] = {}
    for candidate in d.candidates:
        for fault in candidate.faults:
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


def tell_take_off(d: Diagnosis, repair: tuple[str, str], words: Words) -> str:
    """Return what the resistor that comes off should read before another goes on; empty where none comes off."""
    asked = [each for each in foresee_out(words.loop, d.candidates, repair) if each.way == "across"]
    name = words.loop.end_resistors.get(asked[0].place) if asked else None
    if name is None:
        return ""
    right = format_quantity(words.loop.by_name[name].resistance_ohm, "ohm")
    return say("take_off", words.region, ranges=tell_foreseen(asked, words), right=right)


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
