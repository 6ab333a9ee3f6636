"""The field wiring: chains of detectors, from their supply to the end resistor."""

from typing import TypeVar

from diagnostics.errors import SiteError

from .bench import Ends, WiringBench
from .elements import Curve, Detector, Element, Gate, How, Kind, Relay, Spread
from .loads import build_alarm_curve, build_clamp_curve, build_coil_curve, build_one_way_curve, build_standby_curve
from .parts import Part, build_part
from .site import DETECTORS, DetectorSpec, LoopSpec

_Where = TypeVar("_Where")


def wire_two_wire_chain(bench: WiringBench, spec: LoopSpec, at: Ends) -> None:
    """Wire two-wire detectors one after the other from ``at``, and the end resistor at the last."""
    wire_end(bench, spec, bench.end, wire_two_wire_detectors(bench, spec, at))


def wire_two_wire_detectors(bench: WiringBench, spec: LoopSpec, at: Ends) -> Ends:
    """Wire two-wire detectors one after the other from ``at``; return the terminals that the last one ends in."""
    tap: Ends | None = None
    for n, detector in enumerate(spec.all_detectors, bench.first + 1):
        part = find_detector_part(spec, detector)
        name = f"det{n}"
        at, tap = _branch(detector, at, tap)
        bench.run(f"{name}.in", at, (f"{name}.in+", f"{name}.in-"), spec.cable, detector.run or spec.cable.run)
        _base(bench, name, part)
        bench.joint(f"strip.{name}.-", f"{name}.in-", f"{name}.out-")
        gates = _states(name)
        _load(bench, f"load.{name}", name, build_standby_curve(part), part, *gates, Gate(f"{name}.latched", when=False))
        _clamp(bench, name, part, (*gates, Gate(f"{name}.latched", when=True)))
        bench.detectors.append(_device(name, detector, part))
        at = (f"{name}.out+", f"{name}.out-")
    return at


def wire_contact_chain(bench: WiringBench, spec: LoopSpec, at: Ends) -> None:
    """Wire dry contacts across a pair, one after the other, and the end resistor at the last; they have no supply."""
    tap: Ends | None = None
    for n, detector in enumerate(spec.all_detectors, bench.first + 1):
        part = find_detector_part(spec, detector)
        name = f"det{n}"
        at, tap = _branch(detector, at, tap)
        contacts = (f"{name}.in_a", f"{name}.in_b")
        bench.run(f"{name}.in_contact", at, contacts, spec.cable, detector.run or spec.cable.run)
        for core in "ab":
            bench.joint(f"strip.{name}.{core}", f"{name}.in_{core}", f"{name}.out_{core}")
        gates = Gate(f"{name}.dead", when=False), Gate(f"{name}.latched", when=True)
        _alarm_contact(bench, contacts, part.number("contact_ohm"), (part, "series_ohm"), *gates)
        bench.detectors.append(
            Detector(
                name,
                detector.room,
                *contacts,
                powered_v=0.0,
                release_v=0.0,
                either_way=True,
                senses=part.word("senses"),
                lamp="none",
                is_contact=True,
                on_spur=detector.spur,
            )
        )  # fmt: skip
        at = (f"{name}.out_a", f"{name}.out_b")
    wire_end(bench, spec, bench.end, at)


def wire_four_wire_chain(bench: WiringBench, spec: LoopSpec, power: Ends, starts: dict[str, Ends]) -> None:
    """Wire four-wire detectors: one power pair through all, and a contact pair per kind.

    ``starts`` gives, by what a detector senses, where its contact pair starts; the same pair may serve both. The
    supervision relay's contact is in series with the end resistor of the pair on which the last detector is.
    """
    ends, cable_m = dict(starts), dict.fromkeys(starts, 0.0)
    tap: tuple[Ends, dict[str, Ends], dict[str, float]] | None = None
    for n, detector in enumerate(spec.all_detectors, bench.first + 1):
        part = find_detector_part(spec, detector)
        (power, ends, cable_m), tap = _branch(detector, (power, ends, cable_m), tap)
        ends = dict(ends)  # the tap keeps its own
        name, length_m, pair = f"det{n}", detector.run or spec.cable.run, _find_pair(starts, part.word("senses"))
        cable_m = {key: metres + length_m for key, metres in cable_m.items()}
        bench.run(f"{name}.in_power", power, (f"{name}.in+", f"{name}.in-"), spec.cable, length_m)
        contacts = (f"{name}.in_a", f"{name}.in_b")
        bench.run(f"{name}.in_contact", ends[pair], contacts, spec.cable, cable_m[pair])
        _wire_four_wire_base(bench, name, part)
        bench.detectors.append(_device(name, detector, part))
        power, ends[pair], cable_m[pair] = (f"{name}.out+", f"{name}.out-"), (f"{name}.out_a", f"{name}.out_b"), 0.0
    last = _find_pair(starts, bench.detectors[-1].senses)
    for pair, (a, b) in ends.items():
        place = bench.end if len(ends) == 1 else f"{bench.end}_{pair}"
        core = _wire_end_relay(bench, spec, power, a) if pair == last else a
        wire_end(bench, spec, place, (core, b))


def _find_pair(starts: dict[str, Ends], senses: str) -> str:
    return senses if senses in starts else next(iter(starts))


def _wire_four_wire_base(bench: WiringBench, name: str, part: Part) -> None:
    _base(bench, name, part)
    bench.joint(f"strip.{name}.-", f"{name}.in-", f"{name}.out-")
    for core in "ab":
        bench.joint(f"strip.{name}.{core}", f"{name}.in_{core}", f"{name}.out_{core}")
    gates, latched = _states(name), Gate(f"{name}.latched", when=True)
    _load(bench, f"load.{name}", name, build_standby_curve(part), part, *gates, Gate(f"{name}.latched", when=False))
    _load(bench, f"alarm_load.{name}", name, build_alarm_curve(part), part, *gates, latched)
    contacts, own_ohm = (f"{name}.in_a", f"{name}.in_b"), part.number("alarm_contact_ohm")
    _alarm_contact(bench, contacts, own_ohm, (part, "alarm_series_ohm"), gates[0], latched)


def _alarm_contact(bench: WiringBench, ends: Ends, own_ohm: float, series: tuple[Part, str], *gates: Gate) -> None:
    """Wire an alarm contact with the resistor that may be in series with it, which has a spread of its own."""
    (part, key), name = series, ends[0].partition(".")[0]
    ohm = own_ohm + part.number(key)
    share = part.shares[key] * part.number(key) / ohm
    told = (Spread("series_resistor", How.RESISTANCE, share),) if share else ()
    bench.elements.append(Element(f"alarm.{name}", Kind.CONTACT, *ends, ohm, gates=gates, spreads=told))
    bench.points.append(ends)


def wire_end(bench: WiringBench, spec: LoopSpec, place: str, ends: Ends) -> None:
    """Wire the end resistor; raises SiteError where the description has none."""
    if spec.end_resistor is None:
        raise SiteError("say which end resistor belongs on the loop: end_resistor: {resistance: 4.7 kΩ}")
    name = place.replace(bench.end, f"{bench.end}.resistor", 1)
    bench.end_resistor(place, name, ends, spec.end_resistor.resistance, spec.end_resistor.spread)


def _wire_end_relay(bench: WiringBench, spec: LoopSpec, power: Ends, core_a: str) -> str:
    """Wire the supervision relay at the end, if there is one; return the terminal that the end resistor goes to."""
    if spec.end_relay is None:
        return core_a
    part = build_part(spec.end_relay.profile, spec.end_relay.values, "end_relay", spec.end_relay.spreads)
    relay = bench.end_relay
    coil_ends = (f"{relay}.coil+", f"{relay}.coil-")
    for side, at, end in zip("+-", power, coil_ends, strict=True):
        bench.joint(f"{relay}.joint{side}", at, end)
    coil = build_coil_curve(part)
    bench.elements.append(Element(f"{relay}.coil", Kind.LOAD, *coil_ends, curve=coil, home=len(coil.points)))
    bench.joint(f"{relay}.joint.com", core_a, f"{relay}.com")
    gate = Gate(f"{relay}.operated", when=True)
    bench.contact(f"{relay}.contact", (f"{relay}.com", f"{relay}.no"), part.number("contact_ohm"), gate)
    plain = part.word("reversed") == "works"
    bench.relays.append(Relay(relay, *coil_ends, part.number("pull_in_v"), part.number("drop_out_v"), plain))
    bench.points += [coil_ends, (f"{relay}.com", f"{relay}.no")]
    return f"{relay}.no"


def find_detector_part(spec: LoopSpec, detector: DetectorSpec) -> Part:
    """Return the part of a detector, its own values put in."""
    family, profile = DETECTORS[spec.style]
    return build_part(detector.profile or profile, detector.values, family)


def _branch(detector: DetectorSpec, at: _Where, tap: _Where | None) -> tuple[_Where, _Where | None]:
    """Return where the run into a detector starts, and where the loop goes on after its branch, if it is on one."""
    if detector.spur:
        return at, at if tap is None else tap
    return at if tap is None else tap, None


def _device(name: str, spec: DetectorSpec, part: Part) -> Detector:
    return Detector(
        name, spec.room, f"{name}.in+", f"{name}.in-", part.number("minimum_v"), part.number("release_v"),
        part.word("reversed") == "works", part.word("senses"), part.word("lamp"), on_spur=spec.spur,
    )  # fmt: skip


def _states(name: str) -> tuple[Gate, Gate]:
    return Gate(f"{name}.head_off", when=False), Gate(f"{name}.dead", when=False)


def _base(bench: WiringBench, name: str, part: Part) -> None:
    """Wire what the head closes from plus in to plus out, and the points where a meter fits."""
    gate, ends = _states(name)[0], (f"{name}.in+", f"{name}.out+")
    if part.word("path") == "one_way":
        curve, told = build_one_way_curve(part), (Spread("one_way", How.EMF, part.shares["one_way_v"], (1,)),)
        volts = part.number("one_way_v")
        bench.elements.append(
            Element(f"path.{name}", Kind.ONE_WAY, *ends, None, curve, (gate,), told, emf_v=volts, home=1)
        )
    else:
        bench.contact(f"path.{name}", ends, part.number("contact_ohm"), gate)
    bench.points += [(f"{name}.in+", f"{name}.in-"), (f"{name}.out+", f"{name}.out-")]


def _load(bench: WiringBench, name: str, detector: str, curve: Curve, part: Part, *gates: Gate) -> None:
    last = len(curve.points)
    key = "alarm_a" if name.startswith("alarm") else "standby_a"
    spreads = [Spread("detector_current", How.CURRENT, part.shares[key], (last - 1, last))]
    if part.values.get("low_volts_ohm") is not None:
        spreads.append(Spread("low_volts", How.CURRENT, part.shares["low_volts_ohm"], (last - 2,)))
    ends = (f"{detector}.in+", f"{detector}.in-")
    bench.elements.append(Element(name, Kind.LOAD, *ends, curve=curve, gates=gates, spreads=tuple(spreads), home=last))


def _clamp(bench: WiringBench, name: str, part: Part, gates: tuple[Gate, ...]) -> None:
    curve = build_clamp_curve(part)
    told = (Spread("clamp", How.CURRENT, part.shares["clamp_ohm"]),)
    ends, home = (f"{name}.in+", f"{name}.in-"), len(curve.points)
    bench.elements.append(Element(f"clamp.{name}", Kind.LOAD, *ends, curve=curve, gates=gates, spreads=told, home=home))
