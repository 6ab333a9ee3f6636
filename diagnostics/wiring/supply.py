"""The supply of four-wire detectors and modules, and what drops it on reset."""

from .battery import wire_output
from .bench import FED, Ends, WiringBench
from .elements import Gate, Relay
from .parts import build_part
from .site import LoopSpec, Reset

AUX: Ends = ("panel.aux+", "panel.aux-")
_RUNNING = Gate("panel.reset", when=False)
_RESETTING = Gate("panel.reset", when=True)


def wire_supply(bench: WiringBench, spec: LoopSpec) -> Ends:
    """Wire the supply path and return the terminals (plus, minus) that the power run starts from."""
    bench.points.append(AUX)
    match spec.reset:
        case Reset.ALWAYS_ON:
            return AUX
        case Reset.RESETTABLE_OUTPUT:
            return _wire_resettable(bench)
        case Reset.MINUS_SWITCHED:
            return _wire_minus_switched(bench)
        case Reset.SEPARATE_SUPPLY:
            return _wire_relay(bench, spec, _wire_separate(bench))
        case _:
            return _wire_relay(bench, spec, AUX)


def _wire_resettable(bench: WiringBench) -> Ends:
    """Wire an output of its own rating that drops by itself during reset."""
    panel = bench.panel
    feed = (panel.number("aux_v"), panel.number("aux_ohm"), panel.number("switched_limit_a"))
    ends = ("panel.switched+", "panel.switched-")
    wire_output(bench, "switched", ends[0], feed, {"aux_supply": panel.shares["aux_v"]}, _RUNNING)
    bench.joint("screw.panel.switched-", ends[1], "panel.common")
    bench.points.append(ends)
    return ends


def _wire_minus_switched(bench: WiringBench) -> Ends:
    """Wire an output whose minus opens during reset: volts are then read across the load, not to panel minus."""
    bench.contact("contact.switched-", ("panel.switched-", "panel.common"), bench.panel.number("contact_ohm"), _RUNNING)
    ends = ("panel.aux+", "panel.switched-")
    bench.points.append(ends)
    return ends


def _wire_separate(bench: WiringBench) -> Ends:
    """Wire a separate supply whose minus is joined to that of the panel."""
    panel = bench.panel
    feed = (panel.number("aux_v"), panel.number("aux_ohm"), panel.number("aux_limit_a"))
    ends = ("supply.out+", "supply.out-")
    bench.source("source.supply", ends, feed, {"separate_supply": panel.shares["aux_v"]}, FED)
    bench.joint("link.supply-", ends[1], "panel.common")
    bench.points.append(ends)
    return ends


def _wire_relay(bench: WiringBench, spec: LoopSpec, feed: Ends) -> Ends:
    """Wire the reset relay: COM from plus, load on NC, operated by the panel during reset."""
    part = build_part(spec.reset_relay.profile, spec.reset_relay.values, "reset_relay", spec.reset_relay.spreads)
    contact_ohm = part.number("contact_ohm")
    bench.joint("link.reset", feed[0], "reset.com")
    bench.contact("contact.reset.nc", ("reset.com", "reset.nc"), contact_ohm, Gate("reset.operated", when=False))
    bench.contact("contact.reset.no", ("reset.com", "reset.no"), contact_ohm, Gate("reset.operated", when=True))
    drive = (part.number("drive_v"), part.number("drive_ohm"), 1.0)
    coil: Ends = ("panel.reset+", "panel.reset-")
    wire_output(bench, "reset", coil[0], drive, {"reset_drive": part.shares["drive_v"]}, _RESETTING)
    bench.joint("screw.panel.reset-", coil[1], "panel.common")
    bench.resistor("coil.reset", coil, part.number("coil_ohm"))
    bench.relays.append(Relay("reset", *coil, part.number("pull_in_v"), part.number("drop_out_v")))
    bench.points += [(f"reset.{t}", feed[1]) for t in ("com", "nc", "no")]
    bench.points.append(coil)
    return "reset.nc", feed[1]
