"""What feeds the panel's outputs: the mains supply, or the battery when mains is away; and the charger between them."""

from .bench import FED, MAINS, ON_BATTERY, RUNS, Ends, WiringBench
from .elements import Battery, Curve, Element, Gate, How, Kind, Spread
from .parts import Part

TERMINALS: Ends = ("panel.battery+", "panel.battery-")
_COMMON = "panel.common"


def wire_battery(bench: WiringBench) -> Battery:
    """Wire battery, charger and the panel's own load; return how the panel watches the battery."""
    panel = bench.panel
    plus, minus = TERMINALS
    _wire_cells(bench, panel)
    bench.joint("lead.battery", "battery.+", plus)
    bench.joint("screw.panel.battery-", minus, _COMMON)
    charger = (panel.number("charger_v"), panel.number("charger_ohm"), panel.number("charger_limit_a"))
    bench.source("source.charger", (plus, _COMMON), charger, {"charger": panel.shares["charger_v"]}, FED, MAINS)
    bench.resistor("load.panel", (plus, _COMMON), panel.number("panel_ohm"), FED, ON_BATTERY)
    bench.points.append(TERMINALS)
    return Battery(
        plus, minus, panel.number("battery_low_v"), panel.number("charged_from_v"), panel.number("runs_from_v")
    )


def _wire_cells(bench: WiringBench, panel: Part) -> None:
    """Wire the battery: below its own volts it delivers, above them it takes a trickle."""
    emf_v = panel.number("battery_v")
    curve = Curve(((emf_v, 0.0),), 1.0 / panel.number("battery_ohm"), 1.0 / panel.number("trickle_ohm"))
    told = (Spread("battery", How.EMF, panel.shares["battery_v"]),)
    bench.elements.append(
        Element(
            "source.battery", Kind.SOURCE, "battery.+", "panel.battery-", curve=curve, gates=(FED,), spreads=told,
            emf_v=emf_v, home=1,
        )
    )  # fmt: skip


def wire_output(
    bench: WiringBench, name: str, plus: str, feed: tuple[float, float, float], spreads: dict[str, float], *gates: Gate
) -> None:
    """Wire an output of the panel: a source of its own on mains, and the same ohms and limit from the battery.

    ``feed`` is (volts, ohms, limit in amperes); ``source.<name>`` feeds on mains, ``rail.<name>`` on battery. Volts
    below those from which the panel works at all are not the battery's: it makes them for as long as it works, and
    what that takes is not in the battery's load.
    """
    volts, ohm, limit_a = feed
    bench.source(f"source.{name}", (plus, _COMMON), feed, spreads, FED, MAINS, *gates)
    if volts < bench.panel.number("runs_from_v"):
        bench.source(f"rail.{name}", (plus, _COMMON), feed, spreads, FED, ON_BATTERY, RUNS, *gates)
        return
    curve = Curve(((0.0, 0.0), (limit_a * ohm, limit_a)))
    ends = (TERMINALS[0], plus)
    on = (FED, ON_BATTERY, *gates)
    bench.elements.append(Element(f"rail.{name}", Kind.SOURCE, *ends, curve=curve, gates=on, home=1))
