"""Invented benches for tests: each style with a panel, every supply path, mixed detectors; all numbers are our own.

The panel is one of 24 V behind 1 kΩ that wants 4.7 kΩ: below 2 V a short and below 9 V an alarm, up to 14 V in between,
normal below 21.5 V, open above. A module feeds its loop with 20 V behind 1 kΩ and wants 3.3 kΩ on it.
"""

from dataclasses import dataclass
from functools import cache

from diagnostics.source import Tree
from diagnostics.wiring import Loop, Site, build_loop
from diagnostics.wiring.site import parse_site_data

PANEL: Tree = {"profile": "panel_24v", "values": {"normal_from_v": "14 V", "open_from_v": "21.5 V"}}
MODULE_TWO_WIRE, MODULE_FOUR_WIRE, FOUR_WIRE = "module_two_wire", "module_four_wire", "four_wire_zone"
# What each detector senses, in order from the module or the panel; the last of a module is one for CO.
KINDS = {
    MODULE_TWO_WIRE: ("smoke", "smoke", "co", "smoke", "co"),
    MODULE_FOUR_WIRE: ("smoke", "co", "smoke", "co"),
    FOUR_WIRE: ("smoke",) * 4,
    "two_wire_zone": ("smoke",) * 4,
}


@dataclass(frozen=True, slots=True)
class Bench:
    """One bench; without ``kinds`` its detectors are the usual ones of its style.

    ``values`` are values of every detector, written ``name=text``.
    """

    style: str
    reset: str = "relay"
    end_relay: bool = True
    kinds: tuple[str, ...] = ()
    values: tuple[str, ...] = ()
    zones: tuple[str, str] = ("zone1", "zone2")

    @property
    def is_module(self) -> bool:
        """Return whether a module stands between loop and panel."""
        return self.style.startswith("module")

    @property
    def senses(self) -> tuple[str, ...]:
        """Return what each detector senses, ``smoke`` or ``co``."""
        return self.kinds or KINDS[self.style]

    @property
    def all(self) -> frozenset[str]:
        """Return the names of all detectors."""
        return frozenset(f"det{n}" for n in range(1, len(self.senses) + 1))


@cache
def build_bench_site(bench: Bench) -> Site:
    """Return the site of a bench."""
    wires = "two_wire" if "two_wire" in bench.style else "four_wire"
    values: dict[str, Tree] = {text.partition("=")[0]: text.partition("=")[2] for text in bench.values}
    detectors: list[Tree] = [{"profile": f"{kind}_{wires}", "values": values} for kind in bench.senses]
    end = "3.3 kΩ" if bench.is_module else "4.7 kΩ"
    loop: dict[str, Tree] = {"zone": bench.zones[0], "style": bench.style, "detectors": detectors}
    loop |= {"cable": {"gauge": "18 AWG", "run": "25 m"}, "end_resistor": {"resistance": end}}
    if bench.style != "two_wire_zone":
        loop["reset"] = bench.reset
    if wires == "four_wire" and bench.end_relay:
        loop["end_relay"] = {"profile": "supervision_relay"}
    zones: dict[str, Tree] = {bench.zones[0]: {"senses": "fire", "end_resistor": "4.7 kΩ"}}
    if bench.is_module:
        zones[bench.zones[1]] = {"senses": "co", "end_resistor": "4.7 kΩ"}
        loop["co_zone"] = bench.zones[1]
    site: Tree = {
        "format": "ohmward-site/1",
        "name": "Bench (invented)",
        "panel": PANEL,
        "zones": zones,
        "loops": [loop],
    }
    return parse_site_data(site, "bench")


@cache
def wire_bench(bench: Bench) -> Loop:
    """Return the loop of a bench."""
    return build_loop(build_bench_site(bench))
