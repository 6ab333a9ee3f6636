"""Fault kinds: each a pure function from loop and place to a list of edits."""

from collections.abc import Callable
from dataclasses import dataclass

from diagnostics.wiring import Add, Edits, Element, Hold, Kind, Loop, Move, Remove, SetResistance, Style

from .data import read_catalogue

Build = Callable[[Loop, str, float], Edits]
Places = Callable[[Loop], tuple[str, ...]]
SHORT_OHM = 0.01
BRIDGE_OHM = 0.01


@dataclass(frozen=True, slots=True)
class FaultKind:
    """Where a kind can occur and what it does to the loop; ``values`` says which list of ohms it takes, if any."""

    name: str
    places: Places
    build: Build
    values: str = ""


def _end(loop: Loop) -> tuple[str, ...]:
    del loop
    return ("end",)


def _detectors(loop: Loop) -> tuple[str, ...]:
    return tuple(d.name for d in loop.detectors)


def _cores(loop: Loop) -> tuple[str, ...]:
    return tuple(name.removeprefix("wire.") for pair in loop.pairs.values() for name in pair)


def _pairs(loop: Loop) -> tuple[str, ...]:
    return tuple(loop.pairs)


def _reset(loop: Loop) -> tuple[str, ...]:
    return ("reset",) if any(r.name == "reset" for r in loop.relays) else ()


def _before_end(loop: Loop) -> tuple[str, ...]:
    return ("panel", *_detectors(loop)[:-1])


def _two_wire_end(loop: Loop) -> tuple[str, ...]:
    return ("end",) if _is_two_wire(loop) else ()


def _panel_and_detectors(loop: Loop) -> tuple[str, ...]:
    return ("panel", *_detectors(loop))


def _is_two_wire(loop: Loop) -> bool:
    return loop.spec.style is Style.TWO_WIRE_ZONE


def _end_missing(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("end.resistor"),)


def _end_wrong(_loop: Loop, _place: str, ohm: float) -> Edits:
    return (SetResistance("end.resistor", ohm),)


def _end_before(loop: Loop, place: str, _ohm: float) -> Edits:
    zone = loop.zones[0].name
    cores = ("+", "-") if _is_two_wire(loop) else ("_a", "_b")
    ends = (f"field.{zone}+", f"field.{zone}-") if place == "panel" else tuple(f"{place}.out{c}" for c in cores)
    return (Move("end.resistor", "a", ends[0]), Move("end.resistor", "b", ends[1]))


def _end_on_in(loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Move("end.resistor", "a", f"{loop.detectors[-1].name}.in+"),)


def _conductor_open(_loop: Loop, place: str, _ohm: float) -> Edits:
    return (Remove(f"wire.{place}"),)


def _joint(loop: Loop, place: str, ohm: float) -> Edits:
    wire_ohm = loop.by_name[f"wire.{place}"].resistance_ohm or 0.0
    share = read_catalogue().values.spread_share * ohm / (wire_ohm + ohm)
    return (SetResistance(f"wire.{place}", wire_ohm + ohm, share),)


def _bridge_half_way(loop: Loop, place: str, bridge: Element, share: float) -> Edits:
    """Cut both conductors of a run in the middle and put an element between the two cuts."""
    edits: list[Add | Remove] = []
    for name in loop.pairs[place]:
        wire = loop.by_name[name]
        half_ohm = (wire.resistance_ohm or 0.0) / 2
        middle = f"middle.{name.removeprefix('wire.')}"
        edits.append(Remove(name))
        for side, (a, b) in {"near": (wire.a, middle), "far": (middle, wire.b)}.items():
            edits.append(Add(Element(f"{name}.{side}", Kind.CONDUCTOR, a, b, half_ohm, spreads=wire.spreads)))
    return (*edits, Add(bridge, share))


def _middles(loop: Loop, place: str) -> tuple[str, str]:
    plus, minus = (f"middle.{name.removeprefix('wire.')}" for name in loop.pairs[place])
    return plus, minus


def _short(loop: Loop, place: str, _ohm: float) -> Edits:
    return _bridge_half_way(loop, place, Element(f"short.{place}", Kind.JOINT, *_middles(loop, place), SHORT_OHM), 0.0)


def _leak(loop: Loop, place: str, ohm: float) -> Edits:
    bridge = Element(f"wet.{place}.{ohm:g}", Kind.RESISTOR, *_middles(loop, place), ohm)
    return _bridge_half_way(loop, place, bridge, read_catalogue().values.spread_share)


def _polarity(loop: Loop, place: str, _ohm: float) -> Edits:
    at = "det1" if place == "panel" else place
    plus, minus = loop.pairs[f"{at}.in" if _is_two_wire(loop) else f"{at}.in_power"]
    wires = loop.by_name
    if place == "panel":
        return (Move(plus, "a", wires[minus].a), Move(minus, "a", wires[plus].a))
    return (Move(plus, "b", wires[minus].b), Move(minus, "b", wires[plus].b))


def _in_out(loop: Loop, place: str, _ohm: float) -> Edits:
    number = int(place.removeprefix("det"))
    feed = Move(f"wire.{place}.in+", "b", f"{place}.out+")
    if number < len(loop.detectors):
        return (feed, Move(f"wire.det{number + 1}.in+", "a", f"{place}.in+"))
    onward = "end.resistor" if _is_two_wire(loop) else "endrelay.joint+"
    return (feed, Move(onward, "a", f"{place}.in+")) if onward in loop.by_name else (feed,)


def _head_off(_loop: Loop, place: str, _ohm: float) -> Edits:
    return (Hold(f"{place}.head_off", value=True),)


def _dead(_loop: Loop, place: str, _ohm: float) -> Edits:
    return (Hold(f"{place}.dead", value=True),)


def _on_no(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Move("wire.det1.in+", "a", "reset.no"),)


def _com_not_fed(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("link.reset"),)


def _bypassed(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Add(Element("bridge.reset", Kind.JOINT, "reset.com", "reset.nc", BRIDGE_OHM)),)


def _never_operates(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Hold("reset.operated", value=False),)


KINDS: dict[str, FaultKind] = {
    kind.name: kind
    for kind in (
        FaultKind("end_resistor_missing", _end, _end_missing),
        FaultKind("end_resistor_wrong", _end, _end_wrong, "end_resistor_ohm"),
        FaultKind("end_resistor_before_end", _before_end, _end_before),
        FaultKind("end_resistor_on_in", _two_wire_end, _end_on_in),
        FaultKind("conductor_open", _cores, _conductor_open),
        FaultKind("pair_short", _pairs, _short),
        FaultKind("joint_resistive", _cores, _joint, "joint_ohm"),
        FaultKind("leak", _pairs, _leak, "leak_ohm"),
        FaultKind("polarity_reversed", _panel_and_detectors, _polarity),
        FaultKind("in_out_swapped", _detectors, _in_out),
        FaultKind("head_off", _detectors, _head_off),
        FaultKind("detector_dead", _detectors, _dead),
        FaultKind("supply_on_no", _reset, _on_no),
        FaultKind("com_not_fed", _reset, _com_not_fed),
        FaultKind("reset_bypassed", _reset, _bypassed),
        FaultKind("reset_relay_never_operates", _reset, _never_operates),
    )
}
