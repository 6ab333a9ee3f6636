"""A circuit while the referee writes it: parts and discrete states by name, in the words that ``export`` uses too."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from diagnostics.units import parse_quantity

from .line import Row

COPPER_OHM_M = 1 / 58e6  # IACS annealed copper at 20 °C


class NotPlayedError(LookupError):
    """The referee's own circuits have no such part, place or kind of fault."""


def read_si(words: Any, unit: str) -> float:  # noqa: ANN401 - what a file or an object holds: a number or words
    """Return words such as *4.7 kΩ* in a unit of the SI."""
    if isinstance(words, int | float):
        return float(words)
    return parse_quantity(str(words), unit)


def when(**states: bool) -> list[Row]:
    """Return conditions: two underlines stand for the dot in the name of a state."""
    return [{"state": name.replace("__", "."), "is": wanted} for name, wanted in states.items()]


@dataclass(frozen=True, slots=True)
class Chain:
    """One loop as written: its zone, its detectors in order, and what its end is called after the word *end*."""

    zone: str
    detectors: tuple[str, ...]
    number: str


@dataclass(slots=True)
class Draft:
    """Parts and states by name; ``values`` are those of the panel, ``spreads`` its shares of one deviation by value."""

    values: Mapping[str, Any]
    spreads: Mapping[str, float]
    parts: dict[str, Row] = field(default_factory=dict)
    states: dict[str, Row] = field(default_factory=dict)
    chains: list[Chain] = field(default_factory=list)

    def volts(self, name: str) -> float:
        """Return a value of the panel in volts."""
        return read_si(self.values[name], "V")

    def ohms(self, name: str) -> float:
        """Return a value of the panel in ohms."""
        return read_si(self.values[name], "ohm")

    def add_state(self, name: str, *, on: bool = False, **threshold: Any) -> None:  # noqa: ANN401 - words and numbers
        """Add a discrete state; ``on`` holds it so for good."""
        self.states[name] = {"state": name, "now": on, "held": on, **threshold}

    def add_ohms(self, kind: str, name: str, ends: tuple[str, str], ohm: float, *more: Any) -> None:  # noqa: ANN401
        """Add a resistance between two terminals; then its conditions and its spreads, where it has them."""
        conditions, spreads = (*more, [], [])[:2]
        row = {"name": name, "type": kind, "a": ends[0], "b": ends[1], "value": ohm}
        self.parts[name] = {**row, "when": list(conditions), "spreads": list(spreads)}

    def add_curve(self, kind: str, name: str, ends: tuple[str, str], curve: Row, *more: Any) -> None:  # noqa: ANN401
        """Add a part with a curve: ``points`` (V, A), slopes ``before_s`` and ``after_s``, ``emf`` of a source."""
        conditions, spreads = (*more, [], [])[:2]
        row = {"name": name, "type": kind, "a": ends[0], "b": ends[1], "emf": None, "before_s": 0.0, **curve}
        self.parts[name] = {**row, "when": list(conditions), "spreads": list(spreads)}

    def add_source(self, name: str, plus: str, made: tuple[float, float, float], *more: Any) -> None:  # noqa: ANN401
        """Add a source onto a terminal, its minus on the panel's common: its volts, ohms, and limit in amperes."""
        emf_v, ohm, limit_a = made
        points = [[emf_v - limit_a * ohm, -limit_a]]
        self.add_curve(
            "source", name, (plus, "panel.common"), {"points": points, "after_s": 1 / ohm, "emf": emf_v}, *more
        )

    def spread(self, unknown: str, moves: str, share: float) -> list[Row]:
        """Return one shared unknown of a part: what it moves, and one deviation as a share."""
        return [{"unknown": unknown, "moves": moves, "share": share}]

    def find(self, name: str) -> Row:
        """Return a part; raises NotPlayedError where there is none of that name."""
        if name not in self.parts:
            raise NotPlayedError(f"no part {name} in this circuit of the referee's")
        return self.parts[name]

    def move(self, name: str, end: str, goal: str) -> None:
        """Put one end of a part on another terminal."""
        self.find(name)[end] = goal

    def swap_ends(self, name: str, other: str, end: str) -> None:
        """Exchange the same end of two parts."""
        one, two = self.find(name), self.find(other)
        one[end], two[end] = two[end], one[end]

    def add_insulation(self, ohm: float) -> None:
        """Give every terminal its leak to earth, so that nothing floats."""
        ends = dict.fromkeys(part[end] for part in self.parts.values() for end in ("a", "b"))
        for terminal in ends:
            if terminal != "earth":
                self.add_ohms("leak", f"leak.{terminal}", (terminal, "earth"), ohm)

    def build(self, zones: Sequence[Row], panel: Mapping[str, Sequence[Row]], meter: Row) -> Row:
        """Return the circuit in the words of ``export``."""
        elements = [part for part in self.parts.values() if "value" in part]
        loads = [part for part in self.parts.values() if "value" not in part]
        states = [self.states[name] for name in sorted(self.states)]
        return {
            "elements": elements,
            "loads": loads,
            "states": states,
            "zones": list(zones),
            "panel": panel,
            "module": [],
            "meter": meter,
        }
