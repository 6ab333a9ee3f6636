"""Names of places that hold for every loop, and where they are on this one."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from diagnostics.circuit import Mode
from diagnostics.readings import WALKS, Measurement, find_walk, list_lifted_pairs, list_measurements
from diagnostics.wiring import EARTH, Loop, Reset

from .schema import Step

ACROSS = {
    "zone": "the terminals of the zone of the loop",
    "co_zone": "the terminals of the zone for CO",
    "loop": "the loop terminals of the module, or of the zone where there is no module",
    "co_loop": "the CO pair of a module with a four-wire loop",
    "aux": "the auxiliary output",
    "switched": "the switched output",
    "separate_supply": "the output of the separate supply",
    "coil": "the coil of the reset relay, at the panel's reset output",
    "com": "COM of the reset relay and minus",
    "nc": "NC of the reset relay and minus",
    "no": "NO of the reset relay and minus",
    "plus_earth": "auxiliary plus and earth",
    "fed": "the first thing that the supply feeds: the module, or the first detector",
    "battery": "the battery, at the panel's battery terminals",
    "ring_plus": "the two ends of the plus conductor of a class A loop, at the panel",
    "ring_minus": "the two ends of its minus conductor, at the panel",
    "return": "the return terminals of a class A zone",
    "power_pair": "the power pair at a module with a four-wire loop",
    "first": "plus and minus at the first detector",
    "middle": "plus and minus at the detector in the middle",
    "last": "plus and minus at the last detector",
    "end_relay": "the coil of the supervision relay",
}
AT = ("panel", "zone", "zone_pair", "co_zone", "reset", "module", "loop", "first", "middle", "last")


@dataclass(frozen=True, slots=True)
class Where:
    """What a step names, for the measurements of a loop to answer to."""

    ends: tuple[str, str] | None = None
    at: str = ""


def find_step_measurement(step: Step, loop: Loop) -> Measurement | None:
    """Return the measurement of this loop that a step asks for, or None where the loop has no such point."""
    if step.measure is None:
        return None
    where = _find_where(step, loop)
    if where is None:
        return None
    mode = Mode("during_reset") if step.mode == "during_reset" else None
    for m in list_measurements(loop):
        same = m.kind in {step.measure, _COUNTS.get(step.measure)} and (
            m.mode == mode if mode else m.mode.word != "during_reset"
        )
        if m.kind == "listen":
            same = m.kind == step.measure
        if same and ((m.red, m.black) == where.ends if where.ends else m.at == where.at):
            return m
    return None


# What is counted instead where the order of the loop is not known.
_COUNTS: Final[Mapping[str, str]] = {"which_dark": "how_many_dark", "which_lit": "how_many_lit"}


def _find_where(step: Step, loop: Loop) -> Where | None:
    if step.across is not None:
        ends = _find_ends(step.across, loop)
        return None if ends is None else Where(ends=ends)
    at = _find_at(step.at or _DEFAULT_AT.get(step.measure or "", ""), loop)
    return None if at is None else Where(at=at)


_DEFAULT_AT = {
    "settings": "panel",
    "supply_lamps": "panel",
    "event_log": "panel",
    "listen": "reset",
    **dict.fromkeys(WALKS, "loop"),
}


def _find_at(name: str, loop: Loop) -> str | None:
    names = [d.name for d in loop.chains[0].detectors]
    spots = {"first": names[0], "middle": names[len(names) // 2], "last": names[-1]}
    spots["loop"] = find_walk(loop, loop.chains[0])
    match name:
        case "zone":
            return loop.chains[0].spec.zone if len(loop.zones) > 1 else "panel"
        case "zone_pair":
            return loop.chains[0].spec.zone
        case "co_zone":
            return loop.chains[0].spec.co_zone
        case _:
            return spots.get(name, name)


def _find_ends(name: str, loop: Loop) -> tuple[str, str] | None:
    pairs = _list_pairs(loop)
    ends = pairs.get(name)
    cores = [pair for pair in list_lifted_pairs(loop) if pair not in loop.meter_points]
    return ends if ends in (*loop.meter_points, *loop.earth_points, *cores) else None


def _list_pairs(loop: Loop) -> dict[str, tuple[str, str]]:
    chain = loop.chains[0]
    zone, co = chain.spec.zone, chain.spec.co_zone
    first, middle, last = chain.first, chain.detectors[len(chain.detectors) // 2], chain.last
    channels = loop.module.channels if loop.module and chain.spec.style.is_module else ()
    pairs = {name: (f"panel.{name}+", f"panel.{name}-") for name in ("aux", "switched")}
    pairs |= {name: (f"reset.{name}", _find_minus(loop)) for name in ("com", "nc", "no")}
    pairs["plus_earth"] = ("panel.aux+", EARTH)
    pairs["battery"] = (loop.battery.plus, loop.battery.minus)
    pairs |= {
        "zone": (f"panel.{zone}+", f"panel.{zone}-"),
        "co_zone": (f"panel.{co}+", f"panel.{co}-"),
        "loop": (channels[0].plus, channels[0].minus) if channels else (f"panel.{zone}+", f"panel.{zone}-"),
        "ring_plus": (f"panel.{zone}+", f"panel.{chain.back}+"),
        "ring_minus": (f"panel.{zone}-", f"panel.{chain.back}-"),
        "return": (f"panel.{chain.back}+", f"panel.{chain.back}-"),
        "separate_supply": ("supply.out+", "supply.out-"),
        "coil": ("panel.reset+", "panel.reset-"),
        "fed": ("module.in+", "module.in-") if channels else (first.plus, first.minus),
        "power_pair": ("module.aux+", "module.aux-"),
        "first": (first.plus, first.minus),
        "middle": (middle.plus, middle.minus),
        "last": (last.plus, last.minus),
        "end_relay": (f"{chain.end_relay}.coil+", f"{chain.end_relay}.coil-"),
    }
    if loop.reset is Reset.MINUS_SWITCHED:
        pairs["switched"] = ("panel.aux+", "panel.switched-")
    if len(channels) > 1:
        pairs["co_loop"] = (channels[1].plus, channels[1].minus)
    return pairs


def _find_minus(loop: Loop) -> str:
    return next((black for red, black in loop.meter_points if red == "reset.com"), "panel.aux-")


def list_wiring(loop: Loop) -> frozenset[str]:
    """Return what is known of the wiring of a loop, in the words of a ``known: wiring`` step."""
    spec = loop.chains[0].spec
    wires = "four_wire" if spec.style.has_power_pair else "two_wire" if spec.style.is_two_wire else "contacts"
    found = {"module" if spec.style.is_module else "zone_loop", wires}
    found |= {"class_a"} if loop.chains[0].back else set()
    found |= {"end_relay"} if loop.chains[0].end_relay else set()
    fed = loop.chains[0].is_fed
    found |= {"reset_relay"} if fed and any(r.name == "reset" for r in loop.relays) else set()
    found |= {"co_zone"} if spec.co_zone else set()
    from_panel = {Reset.RESETTABLE_OUTPUT, Reset.MINUS_SWITCHED}
    found |= {"reset_from_panel"} if fed and loop.reset in from_panel else set()
    return frozenset(found)
