"""From a site to its loop: the wiring of design page section 2, element by element."""

from dataclasses import dataclass, field

from diagnostics.errors import SiteError
from diagnostics.units import Gauge, copper_resistance_ohm_per_m, parse_gauge

from .elements import EARTH, Band, Curve, Detector, Element, Gate, How, Kind, Relay, Spread, Zone
from .loads import build_alarm_curve, build_clamp_curve, build_coil_curve, build_one_way_curve, build_standby_curve
from .loop import Loop
from .parts import Part, build_part
from .site import DETECTORS, DetectorSpec, LoopSpec, Reset, Site, Style

UNKNOWNS = (
    "zone_supply", "zone_source", "aux_supply", "cable_length", "temperature",
    "end_resistor", "detector_current", "low_volts", "clamp",
)  # fmt: skip
_TEMPERATURE_COEFFICIENT = 0.00393
_FED = Gate("panel.down", when=False)


@dataclass
class _Bench:
    """What has been wired so far; only the functions of this module write on it."""

    panel: Part
    elements: list[Element] = field(default_factory=list)
    detectors: list[Detector] = field(default_factory=list)
    relays: list[Relay] = field(default_factory=list)
    pairs: dict[str, tuple[str, str]] = field(default_factory=dict)
    points: list[tuple[str, str]] = field(default_factory=list)

    def joint(self, name: str, a: str, b: str, *gates: Gate) -> None:
        self.elements.append(Element(name, Kind.JOINT, a, b, self.panel.number("joint_ohm"), gates=gates))

    def contact(self, name: str, a: str, b: str, resistance_ohm: float, *gates: Gate) -> None:
        self.elements.append(Element(name, Kind.CONTACT, a, b, resistance_ohm, gates=gates))

    def resistor(self, name: str, a: str, b: str, resistance_ohm: float, *gates: Gate) -> None:
        self.elements.append(Element(name, Kind.RESISTOR, a, b, resistance_ohm, gates=gates))

    def source(
        self, name: str, plus: str, feed: tuple[float, float, float], spreads: dict[str, float], *gates: Gate
    ) -> None:
        """Wire a Thevenin source from ``panel.common``: ``feed`` is (volts, ohms, limit in amperes)."""
        emf_v, ohm, limit_a = feed
        curve = Curve(((emf_v - limit_a * ohm, -limit_a),), 0.0, 1.0 / ohm)
        hows = {"zone_source": How.RESISTANCE}
        told = tuple(Spread(u, hows.get(u, How.EMF), share, (1,)) for u, share in spreads.items())
        self.elements.append(
            Element(
                name, Kind.SOURCE, plus, "panel.common", curve=curve, gates=gates, spreads=told, emf_v=emf_v, home=1
            )
        )


def build_loop(site: Site) -> Loop:
    """Return the loop that a site describes.

    Raises
    ------
    SiteError
        A profile or value is not known, or does not fit the wiring style.
    """
    spec = site.loops[0]
    bench = _Bench(build_part(site.panel.profile, site.panel.values, "panel"))
    zone = _wire_panel(bench, site, spec)
    if spec.style is Style.TWO_WIRE_ZONE:
        _wire_two_wire(bench, spec)
    else:
        _wire_four_wire(bench, spec)
    _wire_leaks(bench)
    return Loop(
        site, spec, tuple(bench.elements), tuple(bench.detectors), tuple(bench.relays), (zone,), UNKNOWNS,
        bench.pairs, tuple(bench.points),
    )  # fmt: skip


def _wire_panel(bench: _Bench, site: Site, spec: LoopSpec) -> Zone:
    panel, zone = bench.panel, spec.zone
    plus, minus = f"panel.{zone}+", f"panel.{zone}-"
    feed = (panel.number("zone_v"), panel.number("zone_ohm"), panel.number("zone_limit_a"))
    spreads = {"zone_supply": panel.shares["zone_v"], "zone_source": panel.shares["zone_ohm"]}
    if spec.style is Style.TWO_WIRE_ZONE:
        running = Gate("panel.reset", when=False)
        bench.source(f"source.{zone}", plus, feed, spreads, _FED, running)
        bench.resistor(f"dropped.{zone}", plus, "panel.common", feed[1], Gate("panel.reset", when=True))
    else:
        bench.source(f"source.{zone}", plus, feed, spreads, _FED)
    aux = (panel.number("aux_v"), panel.number("aux_ohm"), panel.number("aux_limit_a"))
    bench.source("source.aux", "panel.aux+", aux, {"aux_supply": panel.shares["aux_v"]}, _FED)
    for screw in (minus, "panel.aux-"):
        bench.joint(f"screw.{screw}", screw, "panel.common")
    for side in ("panel.aux+", "panel.common"):
        bench.resistor(f"earth.{side}", side, EARTH, panel.number("earth_ohm"))
    kept = Gate(f"{zone}.lifted", when=False)
    bench.joint(f"landing.{zone}+", plus, f"field.{zone}+", kept)
    bench.joint(f"landing.{zone}-", minus, f"field.{zone}-", kept)
    right_ohm = site.zones[zone].end_resistor
    bench.resistor(f"known.{zone}", plus, minus, right_ohm, Gate(f"{zone}.known", when=True))
    bench.points.append((plus, minus))
    return Zone(zone, plus, minus, site.zones[zone].senses, build_bands(panel, right_ohm))


def build_bands(panel: Part, right_ohm: float) -> tuple[Band, ...]:
    """Return what a zone's volts mean, for the end resistor (ohm) that the panel wants to see.

    Bands are contiguous from minus to plus infinity; a band left without room is dropped.
    """
    emf_v, source_ohm = panel.number("zone_v"), panel.number("zone_ohm")

    def divide(ratio: str) -> float:
        ohm = right_ohm * panel.number(ratio) / 100
        return emf_v * ohm / (source_ohm + ohm)

    normal_v = panel.number_or_none("normal_from_v")
    open_v = panel.number_or_none("open_from_v")
    normal_v = divide("normal_from_ratio") if normal_v is None else normal_v
    open_v = divide("open_from_ratio") if open_v is None else open_v
    tops = (
        ("short", min(panel.number("short_below_v"), normal_v), panel.word("short_state")),
        ("alarm", min(panel.number("alarm_below_v"), normal_v), "alarm"),
        ("in between", normal_v, panel.word("between_state")),
        ("normal", open_v, "normal"),
        ("open", float("inf"), "trouble"),
    )
    if open_v <= normal_v:
        raise SiteError(f"panel: open_from_v ({open_v:g} V) must lie above normal_from_v ({normal_v:g} V)")
    bands: list[Band] = []
    low_v = float("-inf")
    for name, high_v, state in tops:
        if high_v > low_v:
            bands.append(Band(name, low_v, high_v, state))
            low_v = high_v
    return tuple(bands)


def _wire_two_wire(bench: _Bench, spec: LoopSpec) -> None:
    at = (f"field.{spec.zone}+", f"field.{spec.zone}-")
    for n, detector in enumerate(spec.all_detectors, 1):
        part = _detector_part(spec, detector)
        name = f"det{n}"
        _run_pair(bench, spec, detector, f"{name}.in", (at, (f"{name}.in+", f"{name}.in-")))
        _base(bench, name, part)
        bench.joint(f"strip.{name}.-", f"{name}.in-", f"{name}.out-")
        in_place = Gate(f"{name}.head_off", when=False)
        alive = Gate(f"{name}.dead", when=False)
        _load(
            bench,
            f"load.{name}",
            name,
            build_standby_curve(part),
            part,
            in_place,
            alive,
            Gate(f"{name}.latched", when=False),
        )
        clamp = build_clamp_curve(part)
        told = (Spread("clamp", How.CURRENT, part.shares["clamp_ohm"]),)
        gates = (in_place, alive, Gate(f"{name}.latched", when=True))
        bench.elements.append(
            Element(
                f"clamp.{name}",
                Kind.LOAD,
                f"{name}.in+",
                f"{name}.in-",
                curve=clamp,
                gates=gates,
                spreads=told,
                home=len(clamp.points),
            )
        )
        bench.detectors.append(_device(name, detector, part))
        at = (f"{name}.out+", f"{name}.out-")
    _end_resistor(bench, spec, at)


def _wire_four_wire(bench: _Bench, spec: LoopSpec) -> None:
    power = (_wire_reset(bench, spec), "panel.aux-")
    pair = (f"field.{spec.zone}+", f"field.{spec.zone}-")
    for n, detector in enumerate(spec.all_detectors, 1):
        part = _detector_part(spec, detector)
        name = f"det{n}"
        _run_pair(bench, spec, detector, f"{name}.in_power", (power, (f"{name}.in+", f"{name}.in-")))
        _run_pair(bench, spec, detector, f"{name}.in_contact", (pair, (f"{name}.in_a", f"{name}.in_b")))
        _base(bench, name, part)
        bench.joint(f"strip.{name}.-", f"{name}.in-", f"{name}.out-")
        for core in "ab":
            bench.joint(f"strip.{name}.{core}", f"{name}.in_{core}", f"{name}.out_{core}")
        in_place, alive = Gate(f"{name}.head_off", when=False), Gate(f"{name}.dead", when=False)
        at_rest, latched = Gate(f"{name}.latched", when=False), Gate(f"{name}.latched", when=True)
        _load(bench, f"load.{name}", name, build_standby_curve(part), part, in_place, alive, at_rest)
        _load(bench, f"alarm_load.{name}", name, build_alarm_curve(part), part, in_place, alive, latched)
        bench.contact(
            f"alarm.{name}", f"{name}.in_a", f"{name}.in_b", part.number("alarm_contact_ohm"), in_place, latched
        )
        bench.detectors.append(_device(name, detector, part))
        bench.points.append((f"{name}.in_a", f"{name}.in_b"))
        power, pair = (f"{name}.out+", f"{name}.out-"), (f"{name}.out_a", f"{name}.out_b")
    _end_resistor(bench, spec, (_wire_end_relay(bench, spec, power, pair[0]), pair[1]))


def _wire_reset(bench: _Bench, spec: LoopSpec) -> str:
    """Wire the supply path and return the terminal that the power run starts from."""
    bench.points.append(("panel.aux+", "panel.aux-"))
    if spec.reset is Reset.ALWAYS_ON:
        return "panel.aux+"
    part = build_part(spec.reset_relay.profile, spec.reset_relay.values, "reset_relay")
    bench.joint("link.reset", "panel.aux+", "reset.com")
    bench.contact(
        "contact.reset.nc", "reset.com", "reset.nc", part.number("contact_ohm"), Gate("reset.operated", when=False)
    )
    bench.contact(
        "contact.reset.no", "reset.com", "reset.no", part.number("contact_ohm"), Gate("reset.operated", when=True)
    )
    drive = (part.number("drive_v"), part.number("drive_ohm"), 1.0)
    bench.source(
        "source.reset",
        "panel.reset+",
        drive,
        {"aux_supply": part.shares["drive_v"]},
        _FED,
        Gate("panel.reset", when=True),
    )
    bench.joint("screw.panel.reset-", "panel.reset-", "panel.common")
    bench.resistor("coil.reset", "panel.reset+", "panel.reset-", part.number("coil_ohm"))
    bench.relays.append(
        Relay("reset", "panel.reset+", "panel.reset-", part.number("pull_in_v"), part.number("drop_out_v"))
    )
    bench.points += [("reset.com", "panel.aux-"), ("reset.nc", "panel.aux-"), ("reset.no", "panel.aux-")]
    return "reset.nc"


def _wire_end_relay(bench: _Bench, spec: LoopSpec, power: tuple[str, str], core_a: str) -> str:
    """Wire the supervision relay at the end, if there is one; return the terminal that the end resistor goes to."""
    if spec.end_relay is None:
        return core_a
    part = build_part(spec.end_relay.profile, spec.end_relay.values, "end_relay")
    for side, at in zip("+-", power, strict=True):
        bench.joint(f"endrelay.joint{side}", at, f"endrelay.coil{side}")
    coil = build_coil_curve(part)
    home = len(coil.points)
    bench.elements.append(
        Element("endrelay.coil", Kind.LOAD, "endrelay.coil+", "endrelay.coil-", curve=coil, home=home)
    )
    bench.joint("endrelay.joint.com", core_a, "endrelay.com")
    bench.contact(
        "endrelay.contact",
        "endrelay.com",
        "endrelay.no",
        part.number("contact_ohm"),
        Gate("endrelay.operated", when=True),
    )
    bench.relays.append(
        Relay("endrelay", "endrelay.coil+", "endrelay.coil-", part.number("pull_in_v"), part.number("drop_out_v"))
    )
    bench.points.append(("endrelay.coil+", "endrelay.coil-"))
    return "endrelay.no"


def _detector_part(spec: LoopSpec, detector: DetectorSpec) -> Part:
    family, profile = DETECTORS[spec.style]
    return build_part(detector.profile or profile, detector.values, family)


def _device(name: str, spec: DetectorSpec, part: Part) -> Detector:
    return Detector(
        name, spec.room, f"{name}.in+", f"{name}.in-", part.number("minimum_v"), part.number("release_v"),
        part.word("reversed") == "works", part.word("senses"), part.word("lamp"),
    )  # fmt: skip


def _base(bench: _Bench, name: str, part: Part) -> None:
    """Wire what the head closes from plus in to plus out, and the points where a meter fits."""
    gate = Gate(f"{name}.head_off", when=False)
    if part.word("path") == "one_way":
        curve = build_one_way_curve()
        bench.elements.append(
            Element(f"path.{name}", Kind.ONE_WAY, f"{name}.in+", f"{name}.out+", curve=curve, gates=(gate,), home=1)
        )
    else:
        bench.contact(f"path.{name}", f"{name}.in+", f"{name}.out+", part.number("contact_ohm"), gate)
    bench.points += [(f"{name}.in+", f"{name}.in-"), (f"{name}.out+", f"{name}.out-")]


def _load(bench: _Bench, name: str, detector: str, curve: Curve, part: Part, *gates: Gate) -> None:
    last = len(curve.points)
    key = "alarm_a" if name.startswith("alarm") else "standby_a"
    spreads = [Spread("detector_current", How.CURRENT, part.shares[key], (last - 1, last))]
    if part.values.get("low_volts_ohm") is not None:
        spreads.append(Spread("low_volts", How.CURRENT, part.shares["low_volts_ohm"], (last - 2,)))
    ends = (f"{detector}.in+", f"{detector}.in-")
    bench.elements.append(Element(name, Kind.LOAD, *ends, curve=curve, gates=gates, spreads=tuple(spreads), home=last))


def _run_pair(
    bench: _Bench, spec: LoopSpec, detector: DetectorSpec, place: str, ends: tuple[tuple[str, str], tuple[str, str]]
) -> None:
    gauge: Gauge = parse_gauge(spec.cable.gauge)
    part = build_part("cable_pair", spec.cable.values)
    temperature_c = part.number("temperature_c")
    length_m = detector.run or spec.cable.run
    resistance_ohm = length_m * copper_resistance_ohm_per_m(gauge.area_mm2, temperature_c)
    warmth = _TEMPERATURE_COEFFICIENT * part.number("temperature_spread_c")
    spreads = (
        Spread("cable_length", How.RESISTANCE, part.number("length_spread") / 100),
        Spread("temperature", How.RESISTANCE, warmth),
    )
    cores = []
    for near, far in zip(*ends, strict=True):
        name = f"wire.{far}"
        bench.elements.append(Element(name, Kind.CONDUCTOR, near, far, resistance_ohm, spreads=spreads))
        cores.append(name)
    bench.pairs[place] = (cores[0], cores[1])


def _end_resistor(bench: _Bench, spec: LoopSpec, ends: tuple[str, str]) -> None:
    end = spec.end_resistor
    if end is None:
        raise SiteError("say which end resistor belongs on the loop: end_resistor: {resistance: 4.7 kΩ}")
    told = (Spread("end_resistor", How.RESISTANCE, end.spread / 100),)
    bench.elements.append(Element("end.resistor", Kind.RESISTOR, *ends, end.resistance, spreads=told))


def _wire_leaks(bench: _Bench) -> None:
    """Give every terminal its insulation leak to earth, so that nothing floats."""
    terminals = dict.fromkeys(t for e in bench.elements for t in (e.a, e.b) if t != EARTH)
    leak_ohm = bench.panel.number("leak_ohm")
    bench.elements += [Element(f"leak.{t}", Kind.LEAK, t, EARTH, leak_ohm) for t in terminals]
