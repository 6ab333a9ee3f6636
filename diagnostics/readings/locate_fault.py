"""Where along a pair a short or an earth lies: the bridge formulas of line testing, and metres out of ohms.

A core is one conductor of the pair; ohms along it count from where the pair begins. Formulas: Murray and Varley loop
tests as in any text on cable testing; the three-reading one is the same circuit with a meter for a bridge.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from diagnostics.errors import FaultError
from diagnostics.units import copper_resistance_ohm_per_m, parse_gauge
from diagnostics.wiring import Loop, build_part

from .data import Meter
from .meter import find_limit

# Leads have 0.2 to 0.5 Ω (handheld meters; common practice), unless they were zeroed: what is taken off, and its error.
LEADS_OHM: Final = 0.2
LEADS_ERROR_OHM: Final = 0.3


@dataclass(frozen=True, slots=True)
class Run:
    """A run of a pair: its place, length (m), and the ohms of one core of it with the terminals it arrives at."""

    place: str
    length_m: float
    core_ohm: float


@dataclass(frozen=True, slots=True)
class Spot:
    """Where it lies: metres from the start, ± (about 95 %), on which run, and the first and last run it could be on."""

    distance_m: float
    spread_m: float
    run: str
    first: str
    last: str


def find_by_loop(loop_ohm: float, leads_ohm: float) -> float:
    """Return the ohms along one core to a hard short, from those of both cores, leads (ohm) taken off."""
    return (loop_ohm - leads_ohm) / 2


def find_by_murray(faulty_arm: float, sound_arm: float, loop_ohm: float) -> float:
    """Return the ohms along the faulty core: far end joined, balanced arms in any unit, ohms of both cores.

    It does not depend on the resistance of the fault.
    """
    return faulty_arm / (faulty_arm + sound_arm) * loop_ohm


def find_by_varley(arms_ohm: tuple[float, float], earth_ohm: float, loop_ohm: float) -> float:
    """Return the ohms along the faulty core: far end joined, the rheostat (ohm) balanced to earth and for the loop.

    ``arms_ohm`` are the ratio arms (P, Q), P beside the sound core.
    """
    p, q = arms_ohm
    return p * (loop_ohm - earth_ohm) / (p + q)


def find_by_three(faulty_ohm: float, sound_ohm: float, core_ohm: float) -> float:
    """Return the ohms along the faulty core: far end joined, each core to earth, and the ohms of one whole core."""
    return core_ohm - (sound_ohm - faulty_ohm) / 2


def list_runs(loop: Loop, first: str) -> tuple[Run, ...]:
    """Return the runs of a pair in order, from the place of its first one (``det1.in``).

    Raises
    ------
    FaultError
        No run of that name begins a pair here.
    """
    if first not in loop.pairs:
        raise FaultError(f"no run {first!r}", text=first, hint=f"one of {', '.join(list_first_runs(loop))}")
    begins = {
        loop.by_name[wires[0]].a.partition(".")[0]: place for place, wires in loop.pairs.items() if _like(place, first)
    }
    found, place = [first], first.partition(".")[0]
    while place in begins:
        found.append(begins[place])
        place = begins[place].partition(".")[0]
    return tuple(_measure(loop, place) for place in found)


def _like(place: str, first: str) -> bool:
    """Return whether two runs are of pairs of one sort: both feed, or both carry contacts."""
    return place.partition(".")[2] == first.partition(".")[2]


def list_first_runs(loop: Loop) -> tuple[str, ...]:
    """Return the runs that begin a pair: at the panel, at a supply, or at the module."""
    return tuple(p for p, wires in loop.pairs.items() if not loop.by_name[wires[0]].a.startswith("det"))


def _measure(loop: Loop, place: str) -> Run:
    name = place.partition(".")[0]
    chain = loop.find_chain(name) or loop.chains[0]
    cable = chain.spec.cable
    temperature_c = build_part("cable_pair", cable.values).number("temperature_c")
    ohm_per_m = copper_resistance_ohm_per_m(parse_gauge(cable.gauge).area_mm2, temperature_c)
    cores = [loop.by_name[wire] for wire in loop.pairs[place]]
    ends = {core.b: core.resistance_ohm or 0.0 for core in cores}
    through = [e.resistance_ohm or 0.0 for e in loop.elements if e.a in ends and e.b == e.a.replace(".in", ".out")]
    copper_ohm = sum(ends.values()) / len(cores)
    return Run(place, copper_ohm / ohm_per_m, copper_ohm + sum(through) / len(cores))


def find_spread_share(loop: Loop, first: str) -> float:
    """Return one sd of the ohms of a whole core, as a share: its length is an estimate, its temperature a guess."""
    wire = loop.by_name[loop.pairs[first][0]]
    return math.sqrt(sum(s.share**2 for s in wire.spreads))


def find_spot(runs: Sequence[Run], core_ohm: float, spread_ohm: float) -> Spot | None:
    """Return where so many ohms along one core lie, ± ``spread_ohm``; None where no part of the pair is as far."""
    whole_ohm = sum(run.core_ohm for run in runs)
    if not -spread_ohm <= core_ohm <= whole_ohm + spread_ohm:
        return None
    at = [_find_metres(runs, ohm) for ohm in (core_ohm, core_ohm - spread_ohm, core_ohm + spread_ohm)]
    (distance_m, run), (low_m, first), (high_m, last) = at
    return Spot(distance_m, max(high_m - distance_m, distance_m - low_m), run, first, last)


def _find_metres(runs: Sequence[Run], core_ohm: float) -> tuple[float, str]:
    """Return metres and run at so many ohms; before the start or past the end it is there."""
    left_ohm, metres = max(core_ohm, 0.0), 0.0
    for run in runs:
        if left_ohm <= run.core_ohm:
            return metres + run.length_m * left_ohm / run.core_ohm, run.place
        left_ohm, metres = left_ohm - run.core_ohm, metres + run.length_m
    return metres, runs[-1].place


def find_short(loop: Loop, first: str, read_ohm: float, meter: Meter) -> Spot | None:
    """Return where a hard short lies by ohms of the lifted pair; None where it is none, or no short that this pair has.

    The spread is that of the meter, of its leads and of the cable, all at about 95 %.
    """
    core_ohm = find_by_loop(read_ohm, LEADS_OHM)
    meter_ohm = math.hypot(float(find_limit(read_ohm, "ohm", meter)), LEADS_ERROR_OHM) / 2
    cable_ohm = 2 * find_spread_share(loop, first) * max(core_ohm, 0.0)
    return find_spot(list_runs(loop, first), core_ohm, math.hypot(meter_ohm, cable_ohm))
