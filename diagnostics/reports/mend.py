"""What exactly to mend, by conductor, terminal and contact, and what the zone reads once it is right."""

from diagnostics.circuit import STANDBY
from diagnostics.faults import Fault
from diagnostics.readings import Measurement, predict_mode
from diagnostics.reasoning import Diagnosis
from diagnostics.wiring import Loop

from .words import Words, say

_LEAST, _MOST = 0.2, 3  # share of a class that a fault must have to be told, and how many are told
_CONDUCTORS = ("conductor_open", "joint_resistive", "pair_short", "leak")


def list_mends(d: Diagnosis, repair: tuple[str, str], words: Words) -> tuple[str, ...]:
    """Return the likeliest faults that a repair is for, each with what to do at which terminal, likeliest first."""
    some = _weigh(d, repair)
    kinds: dict[tuple[str, str], float] = {}
    for fault, share in some.items():
        kinds[fault.kind, fault.place] = kinds.get((fault.kind, fault.place), 0.0) + share
    likely = [key for key, share in kinds.items() if share >= _LEAST * sum(kinds.values())][:_MOST]
    return tuple(_tell_mend(next(f for f in some if (f.kind, f.place) == key), words) for key in likely)


def _weigh(d: Diagnosis, repair: tuple[str, str]) -> dict[Fault, float]:
    """Return the probability of each fault that a repair mends, alone or with another; most probable first."""
    parts = set(zip(repair[0].split(" + "), repair[1].split(" + "), strict=True))
    found: dict[Fault, float] = {}
    for candidate in d.candidates:
        for fault in candidate.faults:
            if fault.repair_class in parts:
                found[fault] = found.get(fault, 0.0) + candidate.probability
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _tell_mend(fault: Fault, words: Words) -> str:
    told = words.faults((fault,))
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


def list_rechecks(d: Diagnosis, repair: tuple[str, str], words: Words) -> tuple[str, ...]:
    """Return which zone volts to measure again once a repair is made, and what a sound loop shows.

    Nothing where only detectors are at fault: the zone reads the same with them.
    """
    if all(fault.data.family == "detector" for fault in _weigh(d, repair)):
        return ()
    loop = words.loop
    chain = loop.find_chain(repair[1].removeprefix("run ").partition(".")[0]) or loop.chains[0]
    zones = tuple(zone for zone in (chain.spec.zone, chain.spec.co_zone) if zone)
    return tuple(_tell_volts(m, low, high, words) for m, low, high in _list_sound(loop, zones))


def _list_sound(loop: Loop, zones: tuple[str, ...]) -> list[tuple[Measurement, float, float]]:
    """Return the volts of zones on a sound loop: between which nearly all readings lie."""
    pairs = {(f"panel.{zone}+", f"panel.{zone}-") for zone in zones}
    readings = predict_mode(loop, (), STANDBY).readings
    some = [r for r in readings if (r.measurement.red, r.measurement.black) in pairs]
    return [(r.measurement, float(r.value) - 2 * r.sd, float(r.value) + 2 * r.sd) for r in some]


def _tell_volts(m: Measurement, low: float, high: float, words: Words) -> str:
    red, black = words.terminal(m.red), words.terminal(m.black)
    return say("mend_recheck", red=red, black=black, range=words.range(low, high, "V"))
