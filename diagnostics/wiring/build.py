"""From a site to its loop: the wiring of design page section 2, element by element."""

from diagnostics.errors import SiteError

from .battery import wire_battery, wire_output
from .bench import Ends, WiringBench
from .class_a import wire_class_a
from .elements import EARTH, Band, EarthWatch, Element, Gate, Kind, Zone
from .field import wire_contact_chain, wire_four_wire_chain, wire_two_wire_chain
from .loop import Chain, Loop
from .module import wire_module
from .parts import Part, build_part
from .site import UNUSED, Site, Style
from .supply import wire_supply


def build_loop(site: Site) -> Loop:
    """Return the loop that a site describes.

    Raises
    ------
    SiteError
        A profile or value is not known, or does not fit the wiring style.
    """
    bench = WiringBench(build_part(site.panel.profile, site.panel.values, "panel", site.panel.spreads))
    zones = _wire_panel(bench, site)
    battery = wire_battery(bench)
    feed = next((wire_supply(bench, spec) for spec in site.loops if spec.style.has_supply), None)
    chains = tuple(_wire_chain(bench, site, number, feed) for number in range(len(site.loops)))
    _wire_leaks(bench)
    return Loop(
        site, chains, tuple(bench.elements), tuple(bench.detectors), tuple(bench.relays), zones, bench.unknowns,
        bench.pairs, bench.end_resistors, tuple(bench.points), battery, bench.module,
        frozenset((f"{zone.name}.bypassed", True) for zone in zones if zone.senses == UNUSED), _watch_earth(bench),
    )  # fmt: skip


def _wire_chain(bench: WiringBench, site: Site, number: int, feed: Ends | None) -> Chain:
    """Wire one loop; all that have a supply beside the zone start from the same ``feed``."""
    spec = site.loops[number]
    bench.begin_chain(number)
    at = (f"field.{spec.zone}+", f"field.{spec.zone}-")
    back = ""
    if spec.style is Style.DRY_CONTACTS:
        wire_contact_chain(bench, spec, at)
    elif spec.style is Style.CLASS_A_ZONE:
        back = wire_class_a(bench, spec, at)
    elif feed is None or not spec.style.has_supply:
        wire_two_wire_chain(bench, spec, at)
    elif spec.style is Style.FOUR_WIRE_ZONE:
        wire_four_wire_chain(bench, spec, feed, {site.zones[spec.zone].senses: at})
    else:
        wire_module(bench, site, spec, feed)
    start = "module" if spec.style.is_module else "panel" if len(site.loops) == 1 else spec.zone
    relay = bench.end_relay if spec.end_relay is not None else ""
    return Chain(spec, tuple(bench.detectors[bench.first :]), start, bench.end, relay, back)


def _wire_panel(bench: WiringBench, site: Site) -> tuple[Zone, ...]:
    panel = bench.panel
    feed = (panel.number("zone_v"), panel.number("zone_ohm"), panel.number("zone_limit_a"))
    aux = (panel.number("aux_v"), panel.number("aux_ohm"), panel.number("aux_limit_a"))
    wire_output(bench, "aux", "panel.aux+", aux, {"aux_supply": panel.shares["aux_v"]})
    bench.joint("screw.panel.aux-", "panel.aux-", "panel.common")
    earth_ohm = panel.number_or_none("earth_ohm")
    for side in ("panel.aux+", "panel.common") if earth_ohm else ():
        bench.resistor(f"earth.{side}", (side, EARTH), earth_ohm or 0.0)
    return tuple(_wire_zone(bench, site, name, feed) for name in site.zones)


def _watch_earth(bench: WiringBench) -> EarthWatch | None:
    """Return how the panel watches for earth faults, or None where it has no network for it."""
    if bench.panel.number_or_none("earth_ohm") is None:
        return None
    return EarthWatch("panel.aux+", "panel.aux-", bench.panel.number("earth_off_v"))


def _feeds_detectors(site: Site, zone: str) -> bool:
    """Return whether a zone feeds two-wire detectors, or is a spare one of a panel that has such zones."""
    own = [spec.style for spec in site.loops if zone in {spec.zone, spec.co_zone}]
    return any(style.is_fed_by_zone for style in own or [spec.style for spec in site.loops])


def _wire_zone(bench: WiringBench, site: Site, zone: str, feed: tuple[float, float, float]) -> Zone:
    """Wire one zone: its source, its screws, and the landings of the field wires, which can be lifted."""
    panel, plus, minus = bench.panel, f"panel.{zone}+", f"panel.{zone}-"
    spreads = {"zone_supply": panel.shares["zone_v"], "zone_source": panel.shares["zone_ohm"]}
    if _feeds_detectors(site, zone):
        wire_output(bench, zone, plus, feed, spreads, Gate("panel.reset", when=False))
        bench.resistor(f"dropped.{zone}", (plus, "panel.common"), feed[1], Gate("panel.reset", when=True))
    else:
        wire_output(bench, zone, plus, feed, spreads)
    bench.joint(f"screw.{minus}", minus, "panel.common")
    kept = Gate(f"{zone}.lifted", when=False)
    bench.joint(f"landing.{zone}+", plus, f"field.{zone}+", kept)
    bench.joint(f"landing.{zone}-", minus, f"field.{zone}-", kept)
    right_ohm = site.zones[zone].end_resistor
    bench.resistor(f"known.{zone}", (plus, minus), right_ohm, Gate(f"{zone}.known", when=True))
    bench.points.append((plus, minus))
    comes_back = any(spec.zone == zone and spec.style is Style.CLASS_A_ZONE for spec in site.loops)
    return Zone(zone, plus, minus, site.zones[zone].senses, build_bands(panel, right_ohm), comes_back)


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


def _wire_leaks(bench: WiringBench) -> None:
    """Give every terminal its insulation leak to earth, so that nothing floats."""
    terminals = dict.fromkeys(t for e in bench.elements for t in (e.a, e.b) if t != EARTH)
    leak_ohm = bench.panel.number("leak_ohm")
    bench.elements += [Element(f"leak.{t}", Kind.LEAK, t, EARTH, leak_ohm) for t in terminals]
