"""Bare circuits for tests: elements and nothing else, so that a textbook's circuit can be put to the solver."""

from collections.abc import Iterable
from dataclasses import replace

from diagnostics.wiring import EARTH, Curve, Element, Kind, Loop, QuickDescription, build_loop, build_quick_site

LEAK_OHM = 1e12


def build_quick(style: str, detectors: int, *, end_relay: str = "yes") -> Loop:
    """Return an invented loop from the quick description: 4.7 kΩ, 25 m of 18 AWG from each to the next."""
    answers = QuickDescription(style, str(detectors), "4.7k", "18 AWG", "25 m", "relay", end_relay)
    return build_loop(build_quick_site(answers)[0])


def build_bare(elements: Iterable[Element]) -> Loop:
    """Return a loop of these elements alone; every node but earth gets its leak of 1 TΩ."""
    found = tuple(elements)
    nodes = dict.fromkeys(t for e in found for t in (e.a, e.b) if t != EARTH)
    leaks = tuple(Element(f"leak.{t}", Kind.LEAK, t, EARTH, LEAK_OHM) for t in nodes)
    empty = replace(build_quick("two_wire_zone", 1), detectors=(), relays=(), zones=(), unknowns=(), pairs={})
    return replace(empty, elements=(*found, *leaks), meter_points=())


def resistor(a: str, b: str, ohm: float) -> Element:
    """Return a resistor named after its ends."""
    return Element(f"{a}-{b}-{ohm:g}", Kind.RESISTOR, a, b, ohm)


def battery(plus: str, minus: str, emf_v: float, ohm: float) -> Element:
    """Return a source of so many volts behind a resistance."""
    curve = Curve(((emf_v, 0.0),), 1 / ohm, 1 / ohm)
    return Element(f"battery.{plus}.{minus}", Kind.SOURCE, plus, minus, curve=curve, emf_v=emf_v)
