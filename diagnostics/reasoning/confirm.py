"""Whether what is settled rests on readings, or on how often such faults are thought to happen; and what would tell.

How often a kind of fault happens is the least known of all numbers here. Where the readings alone, every kind thought
equally likely, do not speak for the repair, one more reading is asked for, if it is worth its minutes.

What would be seen where the repair is made is looked at before anything is replaced: one goes there anyway.

A fault with a value of its own bends to what was read, and two at once to nearly anything. Before such a repair panel
and field are parted: what each shows by itself, no value bends. What was seen with eyes needs none of it.

A bad joint is remade only where something was read at both ends of its run: without that, what gives way anywhere
before it looks the same. A reset is too short only where the volts are away while it lasts. And at the detector where
a repair is made something must be amiss: what is condemned because all else was excluded may be sound.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import STANDBY
from diagnostics.faults import Fault
from diagnostics.readings import AS_IT_SHOULD_BE, Faults, Forecast, Measurement, Meter, find_place
from diagnostics.wiring import EARTH, Loop

from .belief import Belief
from .choose import IN_VAIN_MINUTES, Action, Situation, find_best
from .groups import APART, rate_differences
from .lazily import prepare

Array = NDArray[np.float64]
Make = Callable[[Sequence[Measurement]], Sequence[Forecast]]

# What the repair must hold with every kind thought equally likely; invented.
EVIDENCE: Final = 0.75
HEALTHY: Final = ""
# Below this *something not modelled* is ruled out, and a fault with a value of its own may be settled on; invented.
MOST_OTHER: Final = 0.01
PARTED: Final = frozenset({"pair_lifted", "lifted", "lifted_supply_on", "known_resistor"})
# A fault that more lookers find than miss is looked at before its repair. One that nearly all would have found, and
# that was looked for in vain, is looked for again, and then not settled on. Invented, as are the shares of lookers.
# Measured on 306 visits with an effect outside the catalogue: of eight settled wrongly, five were of that sort.
MORE_SEE: Final = 0.55
MOST_SEE: Final = 0.75
NEARLY_ALL_SEE: Final = 5 / 6
LOOKS: Final = ("look", "settings")
JOINT: Final = "joint_resistive"
TOO_SHORT: Final = "reset_too_short"
PANEL: Final = "panel"
SHORTS: Final = frozenset({"pair_short", "leak"})
SHORT_OHM: Final = 100.0  # of a lifted pair: no end resistor is so small, and few runs so long; invented


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


def find_second_thought(situation: Situation) -> Action | None:
    """Return the reading to take before a repair is made that was made already, or None where none tells anything.

    Either it was done badly or it was another thing: how often repairs are done badly is not known, and a reading is
    cheaper than the same work twice.
    """
    if situation.settled is None:
        return None
    best = find_best(replace(situation, settled=None))
    if best is None:
        return None
    number, bits = best
    minutes = situation.minutes[number]
    at_stake = situation.repair_minutes[situation.settled] + IN_VAIN_MINUTES
    return Action("measure", minutes, situation.measurements[number], bits=bits) if minutes <= at_stake else None


def find_sight(situation: Situation) -> Action | None:
    """Return the look, or the review of settings, that finds what is settled more often than not, or None."""
    if situation.settled is None:
        return None
    weight = np.where(situation.classes == situation.settled, situation.probability, 0.0)
    weight /= weight.sum()
    found_there = {t.measurement.key for t in situation.taken if t.value != AS_IT_SHOULD_BE}  # before a repair, too
    some = [n for n, m in enumerate(situation.measurements) if m.kind in LOOKS and m.key not in found_there]
    prepare(situation.forecasts, some)
    share = rate_seen([situation.forecasts[n] for n in some], weight)
    found = [n for n, seen in zip(some, share, strict=True) if seen >= MORE_SEE]
    return _ask_quickest(situation, found)


def _ask_quickest(situation: Situation, some: Sequence[int]) -> Action | None:
    """Return the quickest of some measurements, by number, as an action; None where there is none."""
    if not some:
        return None
    number = min(some, key=lambda n: situation.minutes[n])
    return Action("measure", situation.minutes[number], situation.measurements[number])


def rate_seen(sights: Sequence[Forecast], weight: Array) -> list[float]:
    """Return for each sight how many lookers would find something, under hypotheses of a weight that sums to 1."""
    chances = [(f.chance, f.tokens.index(AS_IT_SHOULD_BE)) for f in sights]
    return [0.0 if chance is None else float(weight @ (1 - chance[:, right])) for chance, right in chances]


def find_parting(situation: Situation, suspects: Sequence[Faults], loop: Loop) -> Action | None:
    """Return the reading that parts panel and field, to be taken before a repair that bends to what was read, or None.

    ``suspects`` are the hypotheses of the situation, in its order.
    """
    if situation.settled is None:
        return None
    leader = suspects[_find_leader(situation)]
    if not _bends(leader, situation.not_modelled) or is_seen(situation, suspects):
        return None
    spots = {spot for fault in leader for spot in _list_spots(loop, fault)}
    some = [n for n, m in enumerate(situation.measurements) if _parts(m) and m.red in spots]
    return _ask_quickest(situation, some)


def find_bracket(situation: Situation, suspects: Sequence[Faults], loop: Loop) -> Action | None:
    """Return the volts to be read at an end of a run, before a bad joint in it is remade; None where both ends were.

    ``suspects`` are the hypotheses of the situation, in its order. To measure on both sides of what is suspected is
    common practice, no source.
    """
    if situation.settled is None:
        return None
    (joint, *more) = suspects[_find_leader(situation)]
    if more or joint.kind != JOINT or joint.data.sees.token in _list_seen(situation):
        return None
    at_rest = (t for t in situation.taken if t.measurement.mode == STANDBY)
    read = {t.measurement.red for t in at_rest if not isinstance(t.value, str)}
    ends = [spots for spots in _list_run_ends(loop, joint) if not spots & read]
    some = [n for n, m in enumerate(situation.measurements) if m.kind == "volts" and m.mode == STANDBY]
    able = [n for n in some if any(situation.measurements[n].red in spots for spots in ends)]
    return _ask_quickest(situation, able)


def find_held(situation: Situation, suspects: Sequence[Faults]) -> Action | None:
    """Return the volts to be read on the loop during a reset, before its length is blamed; None where they were.

    What feeds detectors through a reset, however long, looks the same. ``suspects`` are the hypotheses of the
    situation, in its order.
    """
    if situation.settled is None or [f.kind for f in suspects[_find_leader(situation)]] != [TOO_SHORT]:
        return None
    some = [n for n, m in enumerate(situation.measurements) if _is_held(m)]
    if any(_is_held(t.measurement) for t in situation.taken):
        return None
    return _ask_quickest(situation, some)


def _is_held(m: Measurement) -> bool:
    """Return whether a measurement is of volts that reach detectors, or their module, during a reset."""
    return m.kind == "volts" and m.mode.word == "during_reset" and m.red.startswith(("det", "module."))


def find_direct(situation: Situation, place: str, forecast: Make, weight: Array) -> Action | None:
    """Return a reading at the detector where the repair is made that a sound loop would not give, or None.

    What is condemned by exclusion alone, while nothing amiss was read at its own place, may be sound. Nothing is
    opened or lifted for it. ``forecast`` makes forecasts of *healthy* first and then of what is settled, which has a
    ``weight`` (hypothesis,) that sums to 1. To measure a part before it is replaced is common practice, no source.
    """
    taken = [t.measurement for t in situation.taken if t.measurement.place == place]
    if any(share > MORE_SEE for share in rate_amiss(forecast(taken), weight, situation.meter)):
        return None
    some = [n for n, m in enumerate(situation.measurements) if m.place == place and _is_direct(m)]
    amiss = rate_amiss(forecast([situation.measurements[n] for n in some]), weight, situation.meter)
    able = [n for n, share in zip(some, amiss, strict=True) if share > MORE_SEE]
    return _ask_quickest(situation, able)


def _is_direct(m: Measurement) -> bool:
    """Return whether a measurement reads the loop as it is, or tests a detector."""
    return (m.mode == STANDBY and m.kind not in LOOKS) or m.kind == "functional_test"


def is_seen(situation: Situation, suspects: Sequence[Faults]) -> bool:
    """Return whether eyes found all that is settled; ``suspects`` are the hypotheses of the situation, in its order."""
    seen = _list_seen(situation)
    return all(fault.data.sees.token in seen for fault in suspects[_find_leader(situation)])


def is_shorted(situation: Situation, suspects: Sequence[Faults]) -> bool:
    """Return whether a short between conductors is settled, and the lifted pair alone read as one.

    Volts with the pair back tell nothing more then, and put the panel on a short. ``suspects`` are the hypotheses of
    the situation, in its order.
    """
    kinds = {fault.kind for fault in suspects[_find_leader(situation)]}
    across = [t for t in situation.taken if {t.measurement.red[-1:], t.measurement.black[-1:]} == {"+", "-"}]
    alone = [t.value for t in across if t.measurement.kind == "ohms"]
    return kinds <= SHORTS and any(isinstance(ohm, float) and abs(ohm) < SHORT_OHM for ohm in alone)


def rate_amiss(forecasts: Sequence[Forecast], weight: Array, meter: Meter) -> list[float]:
    """Return for each measurement how often what is read is clearly not what a sound loop gives.

    Forecasts are of *healthy* and then of hypotheses with a ``weight`` (hypothesis,) that sums to 1.
    """
    return [float(weight @ (rate_differences(f, meter)[0, 1:] >= APART)) for f in forecasts]


def find_work_place(loop: Loop, spot: str) -> str:
    """Return the place at which a repair is made, as measurements name it: a detector or ``panel``."""
    name = spot.removeprefix("run ")
    resistor = loop.by_name.get(loop.end_resistors.get(name, ""))
    return find_place(name if resistor is None else resistor.a, loop)


def _list_run_ends(loop: Loop, joint: Fault) -> tuple[set[str], set[str]]:
    """Return the terminals of a conductor's pair where it begins and where it ends, those through a detector too."""
    core = f"wire.{joint.place}"
    pair = [loop.by_name[name] for name in (core[:-1] + sign for sign in "+-ab") if name in loop.by_name]
    begins, ends = {wire.a for wire in pair}, {wire.b for wire in pair}
    return begins | {_pass_through(spot) for spot in begins}, ends | {_pass_through(spot) for spot in ends}


def _pass_through(terminal: str) -> str:
    """Return where a meter finds the same: on the other side of a detector, at the panel for a wire that goes there."""
    spot, _, end = terminal.partition(".")
    if spot == "field":
        return f"{'module' if end.startswith('loop_') else 'panel'}.{end}"
    return re.sub(r"\.(in|out)(?=[+_-])", lambda side: ".out" if side[1] == "in" else ".in", terminal)


def _find_leader(situation: Situation) -> int:
    """Return the number of the likeliest hypothesis of what is settled."""
    able = np.flatnonzero(situation.classes == situation.settled)
    return int(able[np.argmax(situation.probability[able])])


def _list_seen(situation: Situation) -> set[float | str]:
    return {t.value for t in situation.taken if t.measurement.kind == "look"}


def _bends(leader: Faults, not_modelled: float) -> bool:
    """Return whether values could be bent to what was read: beside a fault, of a worn input, or while more is open.

    Where an earth lies is told by words, whatever its ohms.
    """
    valued = [fault for fault in leader if fault.value_ohm is not None and fault.kind != "earth_fault"]
    worn = any(fault.data.family == "panel" for fault in valued)
    return bool(valued) and (len(leader) > 1 or worn or not_modelled >= MOST_OTHER)


def _parts(m: Measurement) -> bool:
    """Return whether a measurement parts panel and field: by volts or ohms, and none to earth."""
    return bool(m.red) and m.mode.word in PARTED and m.black != EARTH


def _list_spots(loop: Loop, fault: Fault) -> set[str]:
    """Return the plus terminals and wires at which the loop of a fault is parted; of a worn zone, its own."""
    chain = loop.find_chain(fault.end) or loop.chains[0]
    own = [zone for zone in loop.zones if zone.name == fault.place]
    zones = own or [zone for zone in loop.zones if zone.name in {chain.spec.zone, chain.spec.co_zone}]
    inside = loop.module.channels if loop.module and chain is loop.module_chain and not own else ()
    wires = {f"field.{zone.name}+" for zone in zones}
    return wires | {zone.plus for zone in zones} | {channel.plus for channel in inside}
