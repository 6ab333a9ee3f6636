"""What a hand meter reads in the referee's world, its leads on two terminals and itself in the circuit."""

import numpy as np

from .draws import build_leak
from .line import Row
from .panel import mode_states, settle
from .world import World, solve


def read_volts(world: World, mode: str, red: str, black: str, *, by_meter: bool = True) -> float:
    """Return the volts between two terminals, states settled again with the meter across them; or without a meter."""
    if not {red, black} <= solve(world, mode_states(world, mode)).keys():
        return 0.0  # there is no such terminal here: the part that has it is missing
    added = [build_leak("meter", red, black, world.meter["input_ohm"], ())] if by_meter else []
    states = mode_states(world, mode)
    volts = solve(world, settle(world, states, added) if by_meter else states, added)
    return volts[red] - volts[black]


def read_ohms(world: World, mode: str, red: str, black: str) -> float:
    """Return the ohms of lifted wires that a test source behind its own resistance finds, leads included.

    Infinite when over range.
    """
    red, black = (find_lifted(world, name) for name in (red, black))
    if not {red, black} <= solve(world, mode_states(world, mode)).keys():
        return 0.0  # there is no such terminal here: the part that has it is missing
    added = build_test_source(world, red, black)
    volts = solve(world, settle(world, mode_states(world, mode), added), added)
    return find_shown_ohm(world, volts[red] - volts[black])


def build_test_source(world: World, red: str, black: str) -> list[Row]:
    """Return the test source that an ohm-meter puts between two terminals, behind its own resistance."""
    test_v, inner_ohm = world.meter["ohms_test_v"], world.meter["ohms_source_ohm"]
    return _build_source(red, black, test_v, inner_ohm)


def build_diode_source(world: World, red: str, black: str) -> list[Row]:
    """Return the source of a meter's diode range between two terminals."""
    return _build_source(red, black, find_diode_v(world), world.spreads.diode_range.source_ohm)


def find_diode_v(world: World) -> float:
    """Return the volts that the diode range of a world's meter asks with."""
    low, high = world.spreads.diode_range.test_v
    return (low + high) / 2 if world.seed is None else float(world.draw("meter", "diode").uniform(low, high))


def _build_source(red: str, black: str, test_v: float, inner_ohm: float) -> list[Row]:
    source: Row = {"name": "meter", "type": "source", "a": black, "b": red, "when": [], "spreads": []}
    source |= {"points": [[0.0, test_v / inner_ohm]], "before_s": 0.0, "after_s": 0.0}
    return [build_leak("meter", red, black, inner_ohm, ()), source]


def find_shown_ohm(world: World, seen_v: float) -> float:
    """Return the ohms that these volts at the test source mean, leads included; infinite when over range."""
    test_v, inner_ohm = world.meter["ohms_test_v"], world.meter["ohms_source_ohm"]
    ohm = inner_ohm * seen_v / (test_v - seen_v) + world.leads_ohm if seen_v < test_v else np.inf
    return float(ohm) if ohm <= world.meter["ohms_over"] else float("inf")


def find_lifted(world: World, terminal: str) -> str:
    """Return the loose wire that belongs on a terminal; the terminal itself where nothing is lifted from it."""
    mates = {str(p["a"]): str(p["b"]) for p in world.parts if any(w["state"].endswith(".lifted") for w in p["when"])}
    return mates.get(terminal, terminal)


def show_display(world: World, value: float, unit: str, about: str) -> str:
    """Return a value as a 6000-count meter shows it, with its gain, its rest, ripple, stray volts and noise.

    ``about`` names the reading, to which its noise belongs.
    """
    if np.isinf(value):
        return "OL"
    top, drawn, rng = (6.0 if unit == "V" else 600.0), value * world.gain[unit], world.draw("display", about)
    if world.seed is not None and unit == "V":
        drawn *= 1 + float(rng.normal(0, world.spreads.lacks.ripple))
        drawn += float(world.draw("stray", about).normal(0, world.spreads.stray_v))
    while abs(drawn) >= top:
        top *= 10
    step = top / 6000
    count = drawn / step + (_draw_counts(world, unit, rng) if world.seed is not None else 0)
    shown = round(count) * step
    if unit == "ohm":
        shown = max(shown, 0.0)
    return f"{shown:.{max(0, -int(np.floor(np.log10(step) + 1e-9)))}f} {'V' if unit == 'V' else 'ohm'}"


def _draw_counts(world: World, unit: str, rng: np.random.Generator) -> float:
    """Return the counts by which the last digits are off: the same rest each time, and noise."""
    digits = world.meter["volts_digits" if unit == "V" else "ohms_digits"]
    rest = float(world.draw("rest", unit).normal(0, world.spreads.lacks.offset_digits))
    return rest + float(rng.normal(0, digits / 2))
