"""Metamorphic tests of order, kinds and names: a loop told the other way round must read the other way round.

Fed from its far end, with the end resistor moved to the near one, a chain is the chain of the detectors in reverse
order (design page, section 12: reversing the order of detectors, splitting a run, renaming, doubling all resistances
while halving all currents). What a mirrored fault must read is read off the other loop, never told here. All numbers
are invented; every detector and every run is different, so that nothing falls into its place by chance.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from itertools import permutations

import numpy as np
import pytest

from diagnostics.circuit import Settled, build_steps, find_powered, parse_mode, solve_batch
from diagnostics.faults import build_all_edits, list_faults, parse_faults
from diagnostics.wiring import Add, Edits, Element, Loop, Move, Remove, Site, apply_edits, build_loop
from diagnostics.wiring.site import DetectorSpec
from tests.circuit.test_properties import scale
from tests.wiring.benches import FOUR_WIRE, MODULE_FOUR_WIRE, MODULE_TWO_WIRE, Bench, build_bench_site, wire_bench

COUNT = 5
CURRENTS = ("0.08 mA", "0.11 mA", "0.15 mA", "0.06 mA", "0.1 mA")
RUNS_M = (12.0, 40.0, 7.0, 25.0, 60.0)
CHAINS = {
    "two-wire zone": Bench("two_wire_zone", kinds=("smoke",) * COUNT),
    "four-wire zone": Bench(FOUR_WIRE, kinds=("smoke",) * COUNT),
    "module, two-wire": Bench(MODULE_TWO_WIRE, kinds=("smoke", "smoke", "co", "smoke", "co")),
}
N = Bench(MODULE_FOUR_WIRE)
M = Bench(MODULE_TWO_WIRE)
# The head's contact lies on the other side of the electronics in a mirrored chain: some mA through 10 mΩ.
WITHIN_V = 5e-4


def list_detectors(site: Site, *, metres: tuple[float, ...] = RUNS_M) -> list[DetectorSpec]:
    """Return the detectors of a site with a current and a run of their own each."""
    told = zip(site.loops[0].detectors, CURRENTS, metres, strict=True)
    return [d.model_copy(update={"values": {"standby_a": amperes}, "run": run}) for d, amperes, run in told]


def wire(site: Site, detectors: list[DetectorSpec]) -> Loop:
    return build_loop(
        site.model_copy(update={"loops": (site.loops[0].model_copy(update={"detectors": tuple(detectors)}),)})
    )


@cache
def wire_chain(name: str) -> Loop:
    site = build_bench_site(CHAINS[name])
    return wire(site, list_detectors(site))


@cache
def wire_mirrored(name: str) -> Loop:
    """Return the loop of the same detectors in reverse order; the run from the panel stays, the others go with them."""
    site = build_bench_site(CHAINS[name])
    turned = list_detectors(site)[::-1]
    runs = (RUNS_M[0], *RUNS_M[:0:-1])
    return wire(site, [d.model_copy(update={"run": run}) for d, run in zip(turned, runs, strict=True)])


def build_far_feed(loop: Loop) -> Edits:
    """Return the edits that land the feed at the far end of the chain, and what belongs at the end at its near one."""
    cores = ("+", "-") if loop.chains[0].spec.style.is_two_wire else ("+", "-", "_a", "_b")
    feed = [Move(f"wire.det1.in{core}", "b", f"det{COUNT}.out{core}") for core in cores]
    if loop.chains[0].spec.style.is_two_wire:
        return (*feed, Move("end.resistor", "a", "det1.in+"), Move("end.resistor", "b", "det1.in-"))
    coil = [Move(f"endrelay.joint{core}", "a", f"det1.in{core}") for core in "+-"]
    return (*feed, *coil, Move("endrelay.joint.com", "a", "det1.in_a"), Move("end.resistor", "b", "det1.in_b"))


def mirror_name(name: str) -> str:
    return f"det{COUNT + 1 - int(name.removeprefix('det'))}"


def mirror_place(place: str) -> str:
    """Return a place in the mirrored chain: a run from its other end, a detector by its new number."""
    name, dot, end = place.partition(".")
    if not name.startswith("det"):
        return place
    number = int(name.removeprefix("det"))
    return f"det{COUNT + 2 - number}.{end}" if dot else mirror_name(name)


def settle(loop: Loop, edits: Edits, mode: str) -> Settled:
    return solve_batch(loop, [edits], build_steps(parse_mode(mode, loop), loop))


def read_states(settled: Settled) -> dict[str, tuple[bool, bool]]:
    """Return who is powered, and who is latched."""
    return {n: (bool(p[0]), bool(settled.signal(f"{n}.latched")[0])) for n, p in find_powered(settled).items()}


def find_across(settled: Settled, at: str, cores: tuple[str, str] = ("+", "-")) -> float:
    return float(settled.volts(f"{at}{cores[0]}", f"{at}{cores[1]}")[0])


def check_mirrored(name: str, text: str, mirrored_text: str, mode: str) -> None:
    """Hold a chain that is fed from its far end against the chain in reverse order."""
    loop, other = wire_chain(name), wire_mirrored(name)
    word, _, at = mode.partition(":")
    far = settle(loop, (*build_far_feed(loop), *build_all_edits(loop, parse_faults(text, loop))), mode)
    mirrored_mode = f"{word}:{mirror_name(at)}" if at else mode
    near = settle(other, build_all_edits(other, parse_faults(mirrored_text, other)), mirrored_mode)
    assert {mirror_name(n): state for n, state in read_states(far).items()} == read_states(near)
    for zone in loop.zones:
        assert far.volts(zone.plus, zone.minus)[0] == pytest.approx(near.volts(zone.plus, zone.minus)[0], abs=WITHIN_V)
    pairs = (("+", "-"),) if loop.chains[0].spec.style.is_two_wire else (("+", "-"), ("_a", "_b"))
    for d in loop.detectors:
        for side, opposite in (("in", "out"), ("out", "in")):
            for cores in pairs:
                here, there = f"{d.name}.{side}", f"{mirror_name(d.name)}.{opposite}"
                expected = pytest.approx(find_across(near, there, cores), abs=WITHIN_V)
                assert find_across(far, here, cores) == expected, (here, there)


@pytest.mark.parametrize("mode", ["standby", "alarm:det1", "alarm:det2", "alarm:det5", "head_off:det4", "during_reset"])
@pytest.mark.parametrize("name", CHAINS)
def test_chain_fed_from_its_far_end_reads_as_the_chain_in_reverse_order(name: str, mode: str) -> None:
    check_mirrored(name, "", "", mode)


ON_THE_PAIR = (
    "conductor_open@det2.in+",
    "conductor_open@det4.in-",
    "joint_resistive=300@det3.in+",
    "pair_short@det3.in",
    "leak=1k@det5.in",
)
ON_TWO_PAIRS = (
    "conductor_open@det2.in+",
    "conductor_open@det4.in_a",
    "joint_resistive=300@det3.in_b",
    "pair_short@det2.in_power",
    "pair_short@det3.in_contact",
    "leak=1k@det5.in_contact",
)
ANYWHERE = ["head_off@det2", "detector_dead@det4", "end_resistor_missing@end", "end_resistor_wrong=1k@end"]
MIRRORED = [
    (name, fault)
    for name, bench in CHAINS.items()
    for fault in (*(ON_THE_PAIR if "two" in bench.style else ON_TWO_PAIRS), *ANYWHERE)
]


@pytest.mark.parametrize("mode", ["standby", "alarm:det4"])
@pytest.mark.parametrize(("name", "fault"), MIRRORED)
def test_mirrored_fault_reads_as_the_fault_in_the_chain_in_reverse_order(name: str, fault: str, mode: str) -> None:
    kind, _, place = fault.partition("@")
    check_mirrored(name, fault, f"{kind}@{mirror_place(place)}", mode)


def test_mirror_is_no_likeness_by_chance() -> None:
    # The same fault, not mirrored, reads otherwise: the two chains do differ.
    with pytest.raises(AssertionError):
        check_mirrored("two-wire zone", "conductor_open@det2.in+", "conductor_open@det2.in+", "standby")
    with pytest.raises(AssertionError):
        check_mirrored("two-wire zone", "leak=1k@det5.in", "leak=1k@det5.in", "standby")


@pytest.mark.parametrize("name", CHAINS)
def test_order_of_detectors_does_not_matter_where_the_cable_has_no_length(name: str) -> None:
    site = build_bench_site(CHAINS[name])
    own = list_detectors(site, metres=(0.001,) * COUNT)
    for order in list(permutations(range(COUNT)))[::17]:
        loop, usual = wire(site, [own[n] for n in order]), wire(site, own)
        for mode, moved in (("standby", "standby"), ("alarm:det2", f"alarm:det{order.index(1) + 1}")):
            here, there = settle(usual, (), mode), settle(loop, (), moved)
            for zone in loop.zones:
                ours, theirs = (s.volts(zone.plus, zone.minus)[0] for s in (here, there))
                # An alarm's current passes from one to five heads on its way, each of 10 mΩ.
                assert ours == pytest.approx(theirs, abs=1e-3), (order, mode)


# Fire and CO exchanged throughout a module's four-wire loop.
TURN = {"smoke": "co", "co": "smoke"}
SWAP = {"fire": "co", "co": "fire", "zone1": "zone2", "zone2": "zone1"}


def turn_terminal(terminal: str) -> str:
    return re.sub(r"(?<=[._])(fire|co|zone1|zone2)(?=[+_-])", lambda found: SWAP[found[0]], terminal)


@dataclass(frozen=True, slots=True)
class Turned:
    """A fault and the same with fire and CO exchanged."""

    one: str
    other: str


TURNED = [
    Turned("", ""),
    Turned("conductor_open@det3.in_a", "conductor_open@det3.in_a"),
    Turned("pair_short@det2.in_contact", "pair_short@det2.in_contact"),
    Turned("end_resistor_missing@end_fire", "end_resistor_missing@end_co"),
    Turned("end_resistor_wrong=1k@end_co", "end_resistor_wrong=1k@end_fire"),
    Turned("panel_resistor_missing@module.fire", "panel_resistor_missing@module.co"),
    Turned("conductor_open@module.co+", "conductor_open@module.fire+"),
    Turned("outputs_exchanged@module", "outputs_exchanged@module"),
    Turned("zones_exchanged@panel", "zones_exchanged@panel"),
]


@pytest.mark.parametrize("mode", ["standby", "alarm:det1", "alarm:det2", "lifted_supply_on"])
@pytest.mark.parametrize("turned", TURNED, ids=lambda t: t.one or "healthy")
def test_smoke_and_co_exchanged_throughout_exchange_pairs_outputs_and_zones(turned: Turned, mode: str) -> None:
    loop, other = wire_bench(N), wire_bench(replace(N, kinds=tuple(TURN[k] for k in N.senses)))
    ours = settle(loop, build_all_edits(loop, parse_faults(turned.one, loop)), mode)
    theirs = settle(other, build_all_edits(other, parse_faults(turned.other, other)), mode)
    assert read_states(ours) == read_states(theirs)
    for red, black in loop.meter_points:
        found = theirs.volts(turn_terminal(red), turn_terminal(black))[0]
        assert ours.volts(red, black)[0] == pytest.approx(found, abs=1e-6), (red, black)


# What test_properties holds for zones, for modules.
def split(loop: Loop, name: str) -> Loop:
    """Return the loop with one conductor joined in its middle."""
    whole = loop.by_name[name]
    ohm = whole.resistance_ohm or 0.0
    near = replace(whole, name="near", b="splice", resistance_ohm=0.3 * ohm)
    far = replace(whole, name="far", a="splice", resistance_ohm=0.7 * ohm)
    return apply_edits(loop, (Remove(name), Add(near), Add(far)))


def double(loop: Loop) -> Loop:
    """Return the loop with all resistances doubled and all currents halved."""
    elements: tuple[Element, ...] = tuple(scale(e) for e in loop.elements)
    return replace(loop, elements=elements)


Change = Callable[[Loop], Loop]
CHANGES: dict[str, Change] = {
    "run to the module split": lambda loop: split(loop, "wire.module.in+"),
    "run to an output split": lambda loop: split(loop, "wire.module.co-"),
    "run to a detector split": lambda loop: split(loop, "wire.det2.in-"),
    "ohms doubled, currents halved": double,
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
@pytest.mark.parametrize("bench", [M, N], ids=lambda b: b.style)
def test_split_run_and_other_units_leave_all_volts_of_a_module(bench: Bench, change: Change) -> None:
    loop = wire_bench(bench)
    for mode in ("standby", "alarm:det1", "alarm:det2", "during_reset", "after_reset:det2", "head_off:det2"):
        ours, theirs = settle(loop, (), mode), settle(change(loop), (), mode)
        assert read_states(ours) == read_states(theirs)
        for red, black in loop.meter_points:
            # A splice brings one insulation leak more; on a contact that nothing feeds that is a microvolt.
            assert np.allclose(ours.volts(red, black), theirs.volts(red, black), rtol=0, atol=2e-6), (mode, red)


@pytest.mark.parametrize("bench", [M, N], ids=lambda b: b.style)
def test_zones_by_other_names_change_no_reading(bench: Bench) -> None:
    names = {"zone1": "shop", "zone2": "cellar"}
    loop, renamed = wire_bench(bench), wire_bench(replace(bench, zones=("shop", "cellar")))

    def rename(text: str) -> str:
        for old, new in names.items():
            text = text.replace(old, new)
        return text

    faults = [f.text for f in list_faults(loop)]
    assert [rename(text) for text in faults] == [f.text for f in list_faults(renamed)]
    some = ["", *faults[::9], "zones_exchanged@panel", "zone_bypassed@zone2"]
    for mode in ("standby", "alarm:det2"):
        steps = build_steps(parse_mode(mode, loop), loop)
        ours = solve_batch(loop, [build_all_edits(loop, parse_faults(t, loop)) for t in some], steps)
        edits = [build_all_edits(renamed, parse_faults(rename(t), renamed)) for t in some]
        theirs = solve_batch(renamed, edits, build_steps(parse_mode(mode, renamed), renamed))
        for red, black in loop.meter_points:
            assert np.allclose(ours.volts(red, black), theirs.volts(rename(red), rename(black)), rtol=0, atol=1e-9)
