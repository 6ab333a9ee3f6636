"""Fault kinds: each a pure function from loop and place to a list of edits."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from diagnostics.wiring import (
    Add,
    Curve,
    Edits,
    Element,
    Hold,
    Kind,
    Loop,
    Move,
    Remove,
    Reset,
    SetResistance,
    Style,
)

from .data import read_catalogue

Build = Callable[[Loop, str, float], Edits]
Places = Callable[[Loop], tuple[str, ...]]
SHORT_OHM = 0.01
BRIDGE_OHM = 0.01
LOW_SHARE = 0.35  # auxiliary volts that no detector works on any more; invented
OVERLOADED_SHARE = 0.002  # what is left of a rating for those who are on it; invented
FIRE_RUN = ("wire.module.fire+", "wire.module.fire-")
CO_RUN = ("wire.module.co+", "wire.module.co-")


@dataclass(frozen=True, slots=True)
class FaultKind:
    """Where a kind can occur and what it does to the loop; ``values`` says which list of ohms it takes, if any."""

    name: str
    places: Places
    build: Build
    values: str = ""


def _ends(loop: Loop) -> tuple[str, ...]:
    return tuple(place for place in loop.end_resistors if not place.startswith("module."))


def _outputs(loop: Loop) -> tuple[str, ...]:
    return tuple(place for place in loop.end_resistors if place.startswith("module."))


def _detectors(loop: Loop) -> tuple[str, ...]:
    return tuple(d.name for d in loop.detectors)


def _cores(loop: Loop) -> tuple[str, ...]:
    """Every conductor; the minus of a module's supply has a kind of its own."""
    names = (name.removeprefix("wire.") for pair in loop.pairs.values() for name in pair)
    return tuple(name for name in names if name != "module.in-")


def _pairs(loop: Loop) -> tuple[str, ...]:
    return tuple(loop.pairs)


def _reset(loop: Loop) -> tuple[str, ...]:
    return ("reset",) if any(r.name == "reset" for r in loop.relays) else ()


def _panel_with_reset(loop: Loop) -> tuple[str, ...]:
    return ("panel",) if _reset(loop) else ()


def _before_end(loop: Loop) -> tuple[str, ...]:
    """Every detector but the last of its pair; and the start, where there is only one pair to start from."""
    last = {_find_end(loop, d.name): d.name for d in loop.detectors}
    some = tuple(d.name for d in loop.detectors if d.name not in last.values())
    return ("module" if loop.module else "panel", *some) if _ends(loop) == ("end",) else some


def _find_end(loop: Loop, name: str) -> str:
    """Return the place of the end resistor of the pair on which a detector reports."""
    senses = next((d.senses for d in loop.detectors if d.name == name), "")
    return f"end_{senses}" if f"end_{senses}" in loop.end_resistors else "end"


def _two_wire_end(loop: Loop) -> tuple[str, ...]:
    return ("end",) if loop.spec.style.is_two_wire else ()


def _reversible(loop: Loop) -> tuple[str, ...]:
    if loop.module is None:
        return ("panel", *_detectors(loop))
    return ("module", *(("module.loop",) if loop.spec.style.is_two_wire else ()), *_detectors(loop))


def _module(loop: Loop) -> tuple[str, ...]:
    return ("module",) if loop.module else ()


def _module_with_both(loop: Loop) -> tuple[str, ...]:
    return ("module",) if loop.module and loop.spec.co_zone else ()


def _panel_with_both(loop: Loop) -> tuple[str, ...]:
    return ("panel",) if len(loop.zones) == 2 else ()


def _zones(loop: Loop) -> tuple[str, ...]:
    return tuple(z.name for z in loop.zones)


def _end_relay(loop: Loop) -> tuple[str, ...]:
    return ("end",) if "endrelay.coil" in loop.by_name else ()


def _before_end_relay(loop: Loop) -> tuple[str, ...]:
    return _detectors(loop)[:-1] if _end_relay(loop) else ()


def _panel_with_aux(loop: Loop) -> tuple[str, ...]:
    return () if loop.spec.style is Style.TWO_WIRE_ZONE or loop.spec.reset is Reset.SEPARATE_SUPPLY else ("panel",)


def _panel_with_rating(loop: Loop) -> tuple[str, ...]:
    return ("panel",) if "source.switched" in loop.by_name else ()


def _end_missing(loop: Loop, place: str, _ohm: float) -> Edits:
    return (Remove(loop.end_resistors[place]),)


def _end_wrong(loop: Loop, place: str, ohm: float) -> Edits:
    return (SetResistance(loop.end_resistors[place], ohm),)


def _end_twice(loop: Loop, place: str, _ohm: float) -> Edits:
    first = loop.by_name[loop.end_resistors[place]]
    return (Add(replace(first, name=f"{first.name}.second")),)


def _end_in_series(loop: Loop, place: str, _ohm: float) -> Edits:
    name = loop.end_resistors[place]
    return (SetResistance(name, 2 * (loop.by_name[name].resistance_ohm or 0.0)),)


def _end_before(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the end resistor where it does not belong; at the start it spans the field wires themselves."""
    first = loop.by_name[loop.pairs["det1.in" if loop.spec.style.is_two_wire else "det1.in_contact"][0]].a
    cores = ("+", "-") if loop.spec.style.is_two_wire else ("_a", "_b")
    at_start = place in {"panel", "module"}
    ends = (first, f"{first[:-1]}-") if at_start else (f"{place}.out{cores[0]}", f"{place}.out{cores[1]}")
    name = loop.end_resistors[_find_end(loop, place)]
    return (Move(name, "a", ends[0]), Move(name, "b", ends[1]))


def _end_on_in(loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Move("end.resistor", "a", f"{loop.detectors[-1].name}.in+"),)


def _conductor_open(_loop: Loop, place: str, _ohm: float) -> Edits:
    return (Remove(f"wire.{place}"),)


def _minus_missing(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("wire.module.in-"),)


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
    """Exchange the two conductors of a run: at its start for panel and module loop, where it arrives otherwise."""
    first = "det1" if place in {"panel", "module.loop"} else place
    keys = ("module.in",) if place == "module" else (f"{first}.in", f"{first}.in_power")
    plus, minus = next(loop.pairs[key] for key in keys if key in loop.pairs)
    wires = loop.by_name
    if place in {"panel", "module.loop"}:
        return (Move(plus, "a", wires[minus].a), Move(minus, "a", wires[plus].a))
    return (Move(plus, "b", wires[minus].b), Move(minus, "b", wires[plus].b))


def _in_out(loop: Loop, place: str, _ohm: float) -> Edits:
    """Land the feed on plus out and the next run on plus in; at the last there is no next run to exchange."""
    number = int(place.removeprefix("det"))
    feed = Move(f"wire.{place}.in+", "b", f"{place}.out+")
    if number < len(loop.detectors):
        return (feed, Move(f"wire.det{number + 1}.in+", "a", f"{place}.in+"))
    return (feed,)


def _hold(signal: str, *, value: bool = True) -> Build:
    """Return a builder that keeps a signal of the place."""

    def build(_loop: Loop, place: str, _ohm: float) -> Edits:
        return (Hold(f"{place}.{signal}", value=value),)

    return build


def _module_dead(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Hold("module.dead", value=True), Hold("module.operated", value=False))


def _on_no(loop: Loop, _place: str, _ohm: float) -> Edits:
    fed = next(e.name for e in loop.elements if e.kind is Kind.CONDUCTOR and e.a == "reset.nc")
    return (Move(fed, "a", "reset.no"),)


def _com_not_fed(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("link.reset"),)


def _bypassed(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Add(Element("bridge.reset", Kind.JOINT, "reset.com", "reset.nc", BRIDGE_OHM)),)


def _not_assigned(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("source.reset"),)


def _end_relay_missing(loop: Loop, _place: str, _ohm: float) -> Edits:
    """Land the end resistor straight on the contact pair, so that nothing watches the power pair."""
    core = loop.by_name["endrelay.joint.com"].a
    resistor = next(name for name in loop.end_resistors.values() if loop.by_name[name].a == "endrelay.no")
    return (Remove("endrelay.joint+"), Remove("endrelay.joint-"), Move(resistor, "a", core))


def _end_relay_before(_loop: Loop, place: str, _ohm: float) -> Edits:
    return (Move("endrelay.joint+", "a", f"{place}.out+"), Move("endrelay.joint-", "a", f"{place}.out-"))


def _exchange(one: tuple[str, str], two: tuple[str, str], end: str) -> Build:
    """Return a builder that exchanges two pairs of wires at one of their ends."""

    def build(loop: Loop, _place: str, _ohm: float) -> Edits:
        wires = loop.by_name
        edits: list[Move] = []
        for a, b in zip(one, two, strict=True):
            edits += [Move(a, end, getattr(wires[b], end)), Move(b, end, getattr(wires[a], end))]
        return tuple(edits)

    return build


def _zones_exchanged(loop: Loop, place: str, ohm: float) -> Edits:
    first, second = (z.name for z in loop.zones)
    pairs = [(f"landing.{z}+", f"landing.{z}-") for z in (first, second)]
    return _exchange(pairs[0], pairs[1], "a")(loop, place, ohm)


def _aux_dead(_loop: Loop, _place: str, _ohm: float) -> Edits:
    return (Remove("source.aux"),)


def _aux_low(loop: Loop, _place: str, _ohm: float) -> Edits:
    return _replace_source(loop.by_name["source.aux"], LOW_SHARE, 1.0)


def _overloaded(loop: Loop, _place: str, _ohm: float) -> Edits:
    return _replace_source(loop.by_name["source.switched"], 1.0, OVERLOADED_SHARE)


def _replace_source(source: Element, volts_share: float, limit_share: float) -> Edits:
    """Put in a source with a share of the volts, and of the current limit, of the one that is there."""
    if source.curve is None:
        raise TypeError(f"{source.name} is no source")
    ((corner_v, minus_limit_a),) = source.curve.points
    ohm = 1.0 / source.curve.after_s
    emf_v, limit_a = source.emf_v * volts_share, -minus_limit_a * limit_share
    del corner_v
    curve = Curve(((emf_v - limit_a * ohm, -limit_a),), 0.0, source.curve.after_s)
    return (Remove(source.name), Add(replace(source, name=f"{source.name}.bad", curve=curve, emf_v=emf_v)))


KINDS: dict[str, FaultKind] = {
    kind.name: kind
    for kind in (
        FaultKind("end_resistor_missing", _ends, _end_missing),
        FaultKind("end_resistor_wrong", _ends, _end_wrong, "end_resistor_ohm"),
        FaultKind("end_resistor_twice", _ends, _end_twice),
        FaultKind("end_resistor_in_series", _ends, _end_in_series),
        FaultKind("end_resistor_before_end", _before_end, _end_before),
        FaultKind("end_resistor_on_in", _two_wire_end, _end_on_in),
        FaultKind("conductor_open", _cores, _conductor_open),
        FaultKind("pair_short", _pairs, _short),
        FaultKind("joint_resistive", _cores, _joint, "joint_ohm"),
        FaultKind("leak", _pairs, _leak, "leak_ohm"),
        FaultKind("polarity_reversed", _reversible, _polarity),
        FaultKind("in_out_swapped", _detectors, _in_out),
        FaultKind("head_off", _detectors, _hold("head_off")),
        FaultKind("detector_dead", _detectors, _hold("dead")),
        FaultKind("supply_on_no", _reset, _on_no),
        FaultKind("com_not_fed", _reset, _com_not_fed),
        FaultKind("reset_bypassed", _reset, _bypassed),
        FaultKind("reset_relay_never_operates", _reset, _hold("operated", value=False)),
        FaultKind("relay_held", _reset, _hold("operated")),
        FaultKind("reset_not_assigned", _panel_with_reset, _not_assigned),
        FaultKind("end_relay_dead", _end_relay, lambda _loop, _place, _ohm: (Hold("endrelay.operated", value=False),)),
        FaultKind("end_relay_missing", _end_relay, _end_relay_missing),
        FaultKind("end_relay_before_end", _before_end_relay, _end_relay_before),
        FaultKind("aux_dead", _panel_with_aux, _aux_dead),
        FaultKind("aux_low", _panel_with_aux, _aux_low),
        FaultKind("output_overloaded", _panel_with_rating, _overloaded),
        FaultKind("panel_resistor_missing", _outputs, _end_missing),
        FaultKind("panel_resistor_wrong", _outputs, _end_wrong, "end_resistor_ohm"),
        FaultKind("module_dead", _module, _module_dead),
        FaultKind("supply_minus_missing", _module, _minus_missing),
        FaultKind("outputs_exchanged", _module_with_both, _exchange(FIRE_RUN, CO_RUN, "b")),
        FaultKind("zones_exchanged", _panel_with_both, _zones_exchanged),
        FaultKind("zone_settings_exchanged", _panel_with_both, _hold("exchanged")),
        FaultKind("zone_bypassed", _zones, _hold("bypassed")),
        FaultKind("zone_unsupervised", _zones, _hold("unsupervised")),
        FaultKind("two_detector_rule", _zones, _hold("verifies")),
        FaultKind("zone_kind_wrong", _zones, _hold("miskind")),
        FaultKind("zone_resistor_setting", _zones, _hold("faulty")),
        FaultKind("zone_input_damaged", _zones, _hold("faulty")),
    )
}
