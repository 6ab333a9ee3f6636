"""A visit's world for a worked case: a netlist typed by hand, its values drawn, solved by ngspice, states settled.

Nothing of the engine is used here. Wiring and values are those of ``hand_netlists``; the shares below are one standard
deviation each, *invented*, and wider than those the program believes (which ``list profiles`` prints); draws are cut at
three of them. Each draw belongs to a seed and the name of an element, so that a planted fault moves nothing else.
"""

import dataclasses
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from tests.external.hand_module import ALARM_CONTACTS, DROP_OUT_V, LOOP_WINDOWS_V, PULL_IN_V, Module
from tests.external.hand_panel import EARTH, find_node
from tests.external.spice import solve_typed
from tests.external.test_hand_netlists import Bench, Edit, apply_edit, find_elements, find_zone_state

Volts = Mapping[str, float]

DRAWS = (  # element names, what is drawn once for all of them and its share, the share of each one's own
    (r"Vaux|Vreset", "auxiliary supply", 0.026, 0.0),  # the program believes 2 %
    (r"Vsw", "switched supply", 0.026, 0.0),  # 2 %
    (r"Vsup", "separate supply", 0.026, 0.0),  # 2 %
    (r"Vzone\d?", "zone supply", 0.026, 0.0),  # 2 %
    (r"Vloop|Vlp\w+", "loop supply", 0.026, 0.0),  # 2 %
    (r"Rzone\d?", "zone resistance", 0.013, 0.0),  # 1 %
    (r"Rend\w*|Rpan\w+|Rknown", "", 0.0, 0.02),  # 1.5 %, one for all of them
    (r"R(run|half|rest|out|sup)\w+", "cable length", 0.20, 0.05),  # 15 %, one for all
    (r"Bdet\d", "detector current", 0.26, 0.05),  # 15 % or 20 %, one for all
    (r"Bmodule", "module current", 0.20, 0.0),  # 15 %
    (r"Bcoil|Rrcoil", "coil", 0.0, 0.13),  # 10 %
    (r"Bhead\d", "forward volts", 0.04, 0.02),  # nothing
)
CUT = 3.0
HELD_V = 1e-3  # a latch that hangs at its release volts on insulation alone lets go
AUX_V, AUX_OHM, AUX_LIMIT_A, SWITCHED_LIMIT_A = 24.0, 0.5, 0.75, 0.1
COIL_IN_V, COIL_OUT_V = 16.0, 4.0  # of the reset relay
EARTH_OFF_V = 4.0
METER_OHM, TEST_V, TEST_OHM, OVER_OHM = 10e6, 1.0, 10e3, 60e6
GAIN_SHARE = {"V": 0.005, "ohm": 0.009}  # of the reading, the meter's instructions; an error is half of it, cut there
DIGITS, COUNTS = 2, 6000
CHANGES = {  # what a setting or a damaged input makes of a zone's own state
    "bypassed": {"alarm": "normal", "trouble": "normal"},
    "unsupervised": {"trouble": "normal"},
    "faulty": {"normal": "trouble"},
    "miskind": {"alarm": "supervisory"},
    "verifies": {"alarm": "normal"},
}


@dataclass(frozen=True, slots=True)
class Deed:
    """What people do to the loop at a moment: smoke at one detector, a head off, reset held, wires lifted."""

    smoke: str = ""
    head_off: str = ""
    resetting: bool = False
    lifted: bool = False
    down: bool = False
    known: str = ""
    opened: str = ""  # at this detector everything that goes on is off its terminals
    unfed: bool = False  # the run that feeds the detectors is off where it begins
    bare: str = ""  # this zone's pair is off its screws, the supply left on


@dataclass(frozen=True, slots=True)
class Held:
    """What the parts remember: latched detectors, relays, the module, the limiter, the panel's alarms."""

    latched: frozenset[str] = frozenset()
    end_relay: bool = False
    reset_relay: bool = False
    powered: bool = False
    outputs: frozenset[str] = frozenset()
    limit: bool = False
    switched_limit: bool = False
    alarms: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Plant:
    """A fault of an edits file: its text, its edit, parts that do not move, and what zones do beside their volts.

    ``smokes`` is a detector that is in alarm whenever it is fed; with ``short_pulse`` no latch lets go in reset.
    """

    text: str
    edit: Edit
    stuck: bool
    zones: Mapping[str, str]
    smokes: str = ""
    short_pulse: bool = False


@dataclass(eq=False)
class HandWorld:
    """One drawn installation with one planted fault; everything in it is a function of the seed."""

    program: str
    bench: Bench
    plant: Plant
    seed: int
    labels: Mapping[str, str]
    solved: dict[tuple[tuple[str, ...], str], Volts] = field(default_factory=dict)
    modes: dict[str, tuple[Deed, Held]] = field(default_factory=dict)

    def draw(self, what: str, share: float, most: float = CUT) -> float:
        """Return a factor around 1, always the same for a seed and a name."""
        rng = np.random.default_rng([self.seed, zlib.crc32(what.encode())])
        return float(np.exp(share * np.clip(rng.normal(), -most, most)))

    def luck(self, what: str) -> float:
        """Return a number between 0 and 1, always the same for a seed and a name."""
        return float(np.random.default_rng([self.seed, zlib.crc32(what.encode())]).uniform())

    @cached_property
    def planted(self) -> str:
        """The netlist with the fault in it, nothing drawn yet."""
        return apply_edit(self.bench.netlist, self.plant.edit)

    @cached_property
    def elements(self) -> frozenset[str]:
        """Names of the elements of the planted netlist."""
        return frozenset(find_elements(self.planted))

    @property
    def zones(self) -> tuple[str, ...]:
        """Names of the panel's zones."""
        return ("zone1", "zone2") if "Rzone2" in self.elements else ("zone1",)

    def zone_of(self, detector: str) -> str:
        """Return the zone on which a detector ought to report."""
        return "zone2" if self.labels.get(detector) == "co" else "zone1"

    def is_alive(self, detector: str, deed: Deed) -> bool:
        """Tell whether a detector has its head on and works."""
        return f"B{detector}" in self.elements and deed.head_off != detector

    def factor(self, name: str) -> float:
        """Return the drawn factor of an element."""
        for pattern, shared, share, own in DRAWS:
            if re.fullmatch(pattern, name):
                return self.draw(shared, share) * self.draw(name, own)
        return 1.0


def drawn_line(world: HandWorld, line: str) -> str:
    """Return one line of a netlist with its drawn factor put in; what is planted or not drawn stays as typed."""
    name = line.split(maxsplit=1)[0] if line[:1].isalpha() else ""
    factor = world.factor(name) if name else 1.0
    if factor == 1.0:
        return line
    if name.startswith("Bhead"):
        return re.sub(r"pwl\((V\([^)]*\)),", rf"pwl(\1/{factor:.9g},", line)
    if name.startswith("B"):
        return line.replace("I=pwl(", f"I={factor:.9g}*pwl(")
    head, value = line.rsplit(maxsplit=1)
    return f"{head} {{({value.strip('{}')})*{factor:.9g}}}"


def names_of_states(world: HandWorld, deed: Deed, held: Held) -> tuple[str, ...]:
    """Return the states of the edits file that stand in the netlist for these deeds and memories."""
    bench = world.bench
    output_words = {"trouble": "module in trouble", "fire": "module in fire alarm", "co": "module in CO alarm"}
    module = [output_words[word] for word in sorted(held.outputs)] if held.powered else ["module unpowered"]
    named = {
        "panel down": deed.down,
        "panel resetting": deed.resetting,
        "zone source at 0 V": deed.resetting and not deed.down,
        "loop lifted": deed.lifted,
        "zone1 lifted": (deed.lifted and not bench.module) or "zone1" in {deed.known, deed.bare},
        "zone2 lifted": "zone2" in {deed.known, deed.bare},
        f"known resistor on {deed.known}": bool(deed.known),
        "auxiliary output in limit": held.limit and not deed.down,
        "switched output off": is_switched_off(world, deed),
        "switched output in limit": held.switched_limit and not (deed.down or is_switched_off(world, deed)),
        "reset relay operated": held.reset_relay and "Rnc" in world.elements,
        "end relay dropped out": not held.end_relay,
        f"{deed.head_off} head off": bool(deed.head_off),
        **{f"{name} latched": True for name in held.latched},
        **(dict.fromkeys(module, True) if bench.module else {}),
    }
    return tuple(sorted(name for name, on in named.items() if on and name in bench.states))


def is_switched_off(world: HandWorld, deed: Deed) -> bool:
    """Tell whether an output that drops on reset by itself is off."""
    return deed.resetting and not world.plant.stuck


def find_taken_off(world: HandWorld, deed: Deed) -> str:
    """Return a comment that names the runs taken off: those that begin at a detector, or where detectors are fed."""
    starts = (f"{deed.opened}_out",) if deed.opened else ("reset_nc", "panel_aux") if deed.unfed else ()
    lines = [line.split() for line in world.planted.splitlines() if re.match(r"R(run|half)", line)]
    return "".join(f"* off {line[0]}\n" for line in lines if starts and line[1].startswith(starts))


def solve_states(world: HandWorld, states: tuple[str, ...], meter: str = "") -> Volts:
    """Return ngspice's volts of every node; ``meter`` is lines that put an instrument into the circuit.

    A line ``* off NAME`` of it takes an element out.
    """
    if (states, meter) not in world.solved:
        netlist = world.planted
        for state in states:
            edit, present = world.bench.states[state], find_elements(netlist)
            netlist = apply_edit(netlist, Edit(tuple(d for d in edit.drop if d in present), edit.add))
        netlist = apply_edit(netlist, Edit(tuple(re.findall(r"^\* off (\w+)$", meter, flags=re.MULTILINE))))
        netlist = "\n".join(drawn_line(world, line) for line in netlist.splitlines()) + "\n"
        netlist = netlist.replace(".options", meter + ".options", 1)
        world.solved[states, meter] = {**solve_typed(world.program, netlist), EARTH: 0.0}
    return world.solved[states, meter]


def settle(world: HandWorld, deed: Deed, held: Held, meter: str = "") -> Held:
    """Return the memories that agree with their volts: everything in the field first, then the panel's alarms."""
    for _ in range(60):
        volts = solve_states(world, names_of_states(world, deed, held), meter)
        after = next_held(world, deed, held, volts)
        if after == held:
            new = {zone for zone in world.zones if zone_state(world, deed, zone, volts) in ("alarm", "supervisory")}
            after = dataclasses.replace(held, alarms=held.alarms | new)
        if after == held:
            return held
        held = after
    raise AssertionError(f"never settles: {held}")


def next_held(world: HandWorld, deed: Deed, held: Held, volts: Volts) -> Held:
    """Return what the parts do next at these volts."""
    bench = world.bench
    lasting = deed.resetting and world.plant.short_pulse
    latched = {d for d in held.latched if lasting or volts_at(volts, d) > bench.release_v + HELD_V}
    smoky = [d for d in (deed.smoke, world.plant.smokes) if d and world.is_alive(d, deed)]
    latched |= {d for d in smoky if volts_at(volts, d) >= bench.lamp_v}
    aux_v = volts["panel_auxp"] - volts["panel_common"]
    sag_v = AUX_V * world.factor("Vaux") - AUX_LIMIT_A * AUX_OHM
    has_limit = (
        "auxiliary output in limit" in bench.states and "Raux" in world.elements
    )  # without it the output is dead
    powered, outputs = next_module(bench.module, held, volts, alive="Bmodule" in world.elements)
    return dataclasses.replace(
        held,
        latched=frozenset(latched),
        limit=has_limit and not deed.down and aux_v < sag_v - 1e-6,
        switched_limit=is_switched_limiting(world, deed, volts),
        end_relay=pulled(volts, "endrelay_coil", held.end_relay, bench.pull_in_v, bench.drop_out_v),
        reset_relay=not world.plant.stuck and pulled(volts, "panel_reset", held.reset_relay, COIL_IN_V, COIL_OUT_V),
        powered=powered,
        outputs=outputs,
    )


def is_switched_limiting(world: HandWorld, deed: Deed, volts: Volts) -> bool:
    """Tell whether the output that drops on reset by itself is at its current limit."""
    if deed.down or is_switched_off(world, deed) or "switched output in limit" not in world.bench.states:
        return False
    if not {"Vsw", "Rsw"} <= world.elements:
        return False  # it is dead
    out_v = volts["sw_out"] - volts["panel_common"]
    return out_v < AUX_V * world.factor("Vsw") - SWITCHED_LIMIT_A * AUX_OHM - 1e-6


def volts_at(volts: Volts, detector: str) -> float:
    """Return the volts across a detector's electronics."""
    return volts[f"{detector}_inp"] - volts[f"{detector}_inm"]


def pulled(volts: Volts, coil: str, before: bool, in_v: float, out_v: float) -> bool:  # noqa: FBT001
    """Tell whether a relay is pulled in; False where the site has no such coil."""
    across_v = volts.get(f"{coil}p", 0.0) - volts.get(f"{coil}m", 0.0)
    return across_v >= out_v if before else across_v >= in_v


def next_module(module: Module | None, held: Held, volts: Volts, *, alive: bool) -> tuple[bool, frozenset[str]]:
    """Return whether the module is up and which of its outputs moved; loops that it does not yet feed say nothing."""
    if module is None:
        return False, frozenset()
    supply_v = volts["module_inp"] - volts["module_inm"]
    powered = alive and (supply_v > DROP_OUT_V if held.powered else supply_v >= PULL_IN_V)
    if not (powered and held.powered):
        return powered, frozenset()
    outputs: set[str] = set()
    for loop in module.loops:
        loop_v = volts[loop.plus] - volts[loop.minus]
        state = next((state for top, state in LOOP_WINDOWS_V if loop_v < top), "trouble")
        labels = {loop.output} if loop.output else {module.labels[d] for d in held.latched} or {"fire"}
        outputs |= {"trouble": {"trouble"}, "alarm": {str(label) for label in labels}}.get(state, set())
    assert outputs <= {"trouble", *ALARM_CONTACTS}
    return powered, frozenset(outputs)


def zone_state(world: HandWorld, deed: Deed, zone: str, volts: Volts) -> str | None:
    """Return what a zone's volts and settings make the panel say; None while its source is off."""
    if deed.down or (deed.resetting and "zone source at 0 V" in world.bench.states):
        return None
    at_v = volts[f"panel_{zone}p"] - volts[f"panel_{zone}m"]
    state = find_zone_state(world.bench, at_v)
    return CHANGES.get(world.plant.zones.get(zone, ""), {}).get(state, state)


def mode_of(world: HandWorld, mode: str) -> tuple[Deed, Held]:
    """Return the last deed of a mode and what the parts remember then: power up, then one deed after the other."""
    if mode not in world.modes:
        word, _, at = mode.partition(":")
        deed, held = (Deed(), Held()) if mode == "standby" else mode_of(world, "standby")
        deeds = {
            "standby": [deed],
            "during_reset": [Deed(resetting=True)],
            "lifted": [Deed(lifted=True, down=True)],
            "lifted_supply_on": [Deed(lifted=True)],
            "known_resistor": [Deed(known=at), Deed(known=at, resetting=True), Deed(known=at)],
            "alarm": [Deed(smoke=at)],
            "after_reset": [Deed(smoke=at), Deed(resetting=True), Deed()],
            "head_off": [Deed(head_off=at)],
            "opened": [Deed(opened=at)],
            "pair_lifted": [Deed(bare=at if at in world.zones else "", unfed=at not in world.zones)],
        }[word]
        for deed in deeds:
            begun = dataclasses.replace(held, alarms=frozenset()) if deed.resetting else held
            held = settle(world, deed, begun, find_taken_off(world, deed))
        world.modes[mode] = deed, held
    return world.modes[mode]


def panel_shows(world: HandWorld, mode: str, zone: str) -> str:
    """Return the word on the panel for a zone: an alarm stays until it is reset."""
    deed, held = mode_of(world, mode)
    state = zone_state(world, deed, zone, solve_states(world, names_of_states(world, deed, held)))
    remembered = "supervisory" if world.plant.zones.get(zone) == "miskind" else "alarm"
    return str(remembered if zone in held.alarms else state)


def earth_says(world: HandWorld, mode: str) -> str:
    """Return what the panel says of earth: a trouble where it lies too far off the middle of the supply."""
    deed, held = mode_of(world, mode)
    volts = solve_states(world, names_of_states(world, deed, held), find_taken_off(world, deed))
    off_v = abs(volts["panel_auxp"] + volts["panel_auxm"]) / 2
    return "earth_trouble" if off_v > EARTH_OFF_V else "right"


def lamp(world: HandWorld, mode: str, detector: str) -> str:
    """Return what a detector's lamp does."""
    deed, held = mode_of(world, mode)
    if detector in held.latched:
        return "alarm"
    at_v = volts_at(solve_states(world, names_of_states(world, deed, held)), detector)
    return "lit" if world.is_alive(detector, deed) and at_v >= world.bench.lamp_v else "dark"


def dark_ones(world: HandWorld, mode: str, but: str = "") -> str:
    """Return the dark detectors, joined by commas, or *none*."""
    return ",".join(d for d in world.bench.detectors if d != but and lamp(world, mode, d) == "dark") or "none"


def lit_ones(world: HandWorld, mode: str) -> str:
    """Return the detectors whose lamp shows alarm, joined by commas, or *none*."""
    return ",".join(d for d in world.bench.detectors if lamp(world, mode, d) == "alarm") or "none"


def tested(world: HandWorld, detector: str) -> str:
    """Return what a functional test of a detector shows, and what is left of it after reset."""
    own = world.zone_of(detector)
    before = {zone: panel_shows(world, "standby", zone) for zone in world.zones}
    if before[own] == "alarm":
        return "alarm_already"
    now = {zone: panel_shows(world, f"alarm:{detector}", zone) for zone in world.zones}
    reports = [zone for zone, state in now.items() if state in ("alarm", "supervisory") and state != before[zone]]
    if now[own] != "alarm":
        return "reports_wrong_zone" if reports else "no_report"
    stays = panel_shows(world, f"after_reset:{detector}", own) == "alarm"
    return "reports_and_stays" if stays else "reports_and_clears"


def click(world: HandWorld) -> str:
    """Return what is heard at the reset relay while the panel resets."""
    moved = mode_of(world, "during_reset")[1].reset_relay != mode_of(world, "standby")[1].reset_relay
    return "clicks" if moved and "Rnc" in world.elements else "silent"


def read_volts(world: HandWorld, mode: str, red: str, black: str) -> float:
    """Return the volts between two terminals with the meter in the circuit, states settled again."""
    red, black = find_node(red), find_node(black)
    deed, held = mode_of(world, mode)
    line = f"Rmeter {red} {black} {METER_OHM}\n{find_taken_off(world, deed)}"
    volts = solve_states(world, names_of_states(world, deed, settle(world, deed, held, line)), line)
    return volts[red] - volts[black]


def read_ohms(world: HandWorld, mode: str, red: str, black: str) -> float:
    """Return the ohms that the meter's test source finds on the field side of lifted wires; infinite over range."""
    nodes = [re.sub(r"^(panel_zone|module_loop)", field_node, find_node(name)) for name in (red, black)]
    line = f"Rmeter {nodes[0]} {nodes[1]} {TEST_OHM}\nImeter {nodes[1]} {nodes[0]} {TEST_V / TEST_OHM}\n"
    deed, held = mode_of(world, mode)
    volts = solve_states(world, names_of_states(world, deed, settle(world, deed, held, line)), line)
    seen_v = volts[nodes[0]] - volts[nodes[1]]
    leads_ohm = 0.2 + 0.1 * world.luck("leads")
    ohm = TEST_OHM * seen_v / (TEST_V - seen_v) + leads_ohm if seen_v < TEST_V else np.inf
    return float(ohm) if ohm <= OVER_OHM else float("inf")


def field_node(found: re.Match[str]) -> str:
    """Return the field side of a landing screw."""
    return {"panel_zone": "field_zone", "module_loop": "field_loop"}[found[1]]


def shown(world: HandWorld, value: float, unit: str, spot: str) -> str:
    """Return a value as a 6000-count meter shows it: its gain error, the noise of its last digits, its rounding."""
    if np.isinf(value):
        return "OL"
    drawn = value * world.draw(f"meter {unit}", GAIN_SHARE[unit] / 2, most=2.0)
    top = 6.0 if unit == "V" else 600.0
    while abs(drawn) >= top:
        top *= 10
    step = top / COUNTS
    noise = round(float(np.random.default_rng([world.seed, zlib.crc32(spot.encode())]).normal(0, DIGITS / 2)))
    places = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    return f"{(round(drawn / step) + noise) * step:.{places}f} {'V' if unit == 'V' else 'Ω'}"
