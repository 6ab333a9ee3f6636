"""The interface module: it watches a loop for a panel that cannot, and reports fire and CO on outputs of their own."""

from .bench import Ends, WiringBench
from .elements import Band, Channel, Curve, Element, Gate, How, Kind, Module, Relay, Spread
from .field import wire_four_wire_chain, wire_two_wire_chain
from .parts import Part, build_part
from .site import LoopSpec, Site, Style

OUTPUTS = ("fire", "co")
_POWERED = Gate("module.operated", when=True)
_DEAD = Gate("module.operated", when=False)


def wire_module(bench: WiringBench, site: Site, spec: LoopSpec, feed: Ends) -> None:
    """Wire the module's run from its ``feed``, its outputs to the zones, its own loop and the detectors on it."""
    part = build_part(spec.module.profile, spec.module.values, "module", spec.module.spreads)
    bench.run("module.in", feed, ("module.in+", "module.in-"), spec.cable, spec.module_run)
    _wire_electronics(bench, part)
    bench.points.append(("module.in+", feed[1]))  # to the minus it comes from: tells an open minus from an open plus
    for zone, output in zip((spec.zone, spec.co_zone), OUTPUTS, strict=False):
        if zone is not None:
            ends = (f"module.{output}+", f"module.{output}-")
            bench.run(f"module.{output}", (f"field.{zone}+", f"field.{zone}-"), ends, spec.cable, spec.module_run)
            _wire_output(bench, output, part, site.zones[zone].end_resistor)
    if spec.style is Style.MODULE_TWO_WIRE:
        channels: tuple[Channel, ...] = (_wire_channel(bench, "loop", part, ""),)
        wire_two_wire_chain(bench, spec, ("field.loop+", "field.loop-"))
    else:
        channels = tuple(_wire_channel(bench, f"loop_{kind}", part, kind) for kind in OUTPUTS)
        bench.contact("fuse.module", ("module.in+", "module.aux+"), part.number("fuse_ohm"))
        bench.joint("strip.module.-", "module.in-", "module.aux-")
        bench.points.append(("module.aux+", "module.aux-"))
        starts: dict[str, Ends] = {kind: (f"field.loop_{kind}+", f"field.loop_{kind}-") for kind in OUTPUTS}
        wire_four_wire_chain(bench, spec, ("module.aux+", "module.aux-"), starts)
    bench.module = Module("module", channels)


def _wire_electronics(bench: WiringBench, part: Part) -> None:
    ends: Ends = ("module.in+", "module.in-")
    curve = Curve(((part.number("knee_v"), 0.0), (part.number("minimum_v"), part.number("standby_a"))))
    told = (Spread("detector_current", How.CURRENT, part.shares["standby_a"]),)
    alive = (Gate("module.dead", when=False),)
    bench.elements.append(Element("load.module", Kind.LOAD, *ends, curve=curve, gates=alive, spreads=told, home=2))
    bench.relays.append(Relay("module", *ends, part.number("pull_in_v"), part.number("drop_out_v")))
    bench.points.append(ends)


def _wire_output(bench: WiringBench, output: str, part: Part, right_ohm: float) -> None:
    """Wire one output: the panel's resistor in series with the trouble contact, the alarm contact across both."""
    plus, middle, minus = f"module.{output}+", f"module.{output}_r", f"module.{output}-"
    bench.end_resistor(f"module.{output}", f"panel_resistor.{output}", (plus, middle), right_ohm, 1.5)
    contact_ohm = part.number("contact_ohm")
    sound = Gate("module.trouble", when=False)
    bench.contact(f"trouble.{output}", (middle, minus), contact_ohm, _POWERED, sound)
    bench.contact(f"output.{output}", (plus, minus), contact_ohm, _POWERED, Gate(f"module.{output}", when=True))
    bench.points.append((plus, minus))


def _wire_channel(bench: WiringBench, name: str, part: Part, label: str) -> Channel:
    """Wire what feeds and watches one pair of the module's loop."""
    plus, minus = f"module.{name}+", f"module.{name}-"
    feed = (part.number("loop_v"), part.number("loop_ohm"), part.number("loop_limit_a"))
    bench.source(f"source.{name}", (plus, minus), feed, {"loop_supply": part.shares["loop_v"]}, _POWERED)
    bench.resistor(f"dropped.{name}", (plus, minus), feed[1], _DEAD)
    bench.joint(f"screw.{minus}", minus, "module.in-")
    kept = Gate("module.lifted", when=False)
    bench.joint(f"landing.{name}+", plus, f"field.{name}+", kept)
    bench.joint(f"landing.{name}-", minus, f"field.{name}-", kept)
    bench.points.append((plus, minus))
    return Channel(name, plus, minus, _build_bands(part), label)


def _build_bands(part: Part) -> tuple[Band, ...]:
    edges = [part.number(k) for k in ("short_below_v", "alarm_below_v", "normal_from_v", "open_from_v")]
    inf = float("inf")
    names = ("short", "alarm", "in between", "normal", "open")
    states = ("alarm", "alarm", "trouble", "normal", "trouble")
    return tuple(
        Band(n, low, high, s) for n, s, low, high in zip(names, states, [-inf, *edges], [*edges, inf], strict=True)
    )
