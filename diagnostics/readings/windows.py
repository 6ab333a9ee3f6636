"""The windows of a zone, learnt by trial: which resistors it shows as normal, trouble or alarm brackets each edge."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from diagnostics.errors import PhysicsError
from diagnostics.faults import read_catalogue

from .learn import Source

# What a zone shows from a short up to an open loop, in this order and no other; any but normal may be left out.
ORDER: Final = ("trouble", "alarm", "trouble", "normal", "trouble")
BELOW, ALARM, BETWEEN, NORMAL, ABOVE = range(len(ORDER))
_SDS: Final = 2.0
# A bracket whose ends lie closer than this is as good as found; invented.
_CLOSE: Final = 1.3


@dataclass(frozen=True, slots=True)
class Trial:
    """A resistor (ohm; 0 a short, infinite nothing) on the lifted terminals, and what the panel then showed."""

    resistor_ohm: float
    state: str


@dataclass(frozen=True, slots=True)
class Edge:
    """An edge of the windows by the name of its value, bracketed in volts; ``next_ohm`` would narrow it, or None.

    ``high_v`` is above every volt that the trial on its upper side could have had, ``low_v`` below.
    """

    name: str
    low_v: float
    high_v: float
    low_ohm: float
    high_ohm: float
    next_ohm: float | None

    @property
    def middle_v(self) -> float:
        """Return the volts halfway, which is what the value is set to."""
        return (self.low_v + self.high_v) / 2


@dataclass(frozen=True, slots=True)
class Windows:
    """The edges that trials bracket, what a short showed (empty: not tried), and the names of edges left open."""

    edges: tuple[Edge, ...]
    short_state: str
    open: tuple[str, ...]


def learn_windows(source: Source, trials: Sequence[Trial], share: float = 0.0) -> Windows:
    """Return the windows of a zone from trials; ``share`` is one sd of every resistor, as a fraction.

    Raises
    ------
    PhysicsError
        A state that is none of normal, trouble and alarm, the same resistor shown two ways, no normal at all, or an
        order of states that no windows have.
    """
    told = sorted(trials, key=lambda t: t.resistor_ohm)
    where = _place([t.state for t in told])
    if len({t.resistor_ohm for t in told}) != len(told):
        raise PhysicsError(
            "one resistor was shown in two ways", hint="wait for the whole delay of the panel, and try that one again"
        )
    edges = []
    for low, high in zip(range(len(told) - 1), range(1, len(told)), strict=True):
        edges += [_build_edge(name, source, told[low], told[high], share) for name in _name(where[low], where[high])]
    found = {edge.name for edge in edges}
    wanted = ["alarm_below_v", "normal_from_v", "open_from_v"]
    shorts = [t.state for t, at in zip(told, where, strict=True) if t.resistor_ohm == 0 and at in {BELOW, ALARM}]
    return Windows(tuple(edges), shorts[0] if shorts else "", tuple(name for name in wanted if name not in found))


def _place(states: Sequence[str]) -> list[int]:
    """Return the window of each state, from the lowest resistor up."""
    if "normal" not in states:
        raise PhysicsError("no resistor was shown as normal", hint="try the end resistor that the panel asks for")
    at, where = 0 if "alarm" in states else BETWEEN, []
    for state in states:
        while at < len(ORDER) and ORDER[at] != state:
            at += 1
        if at == len(ORDER):
            raise PhysicsError(
                "no windows have this order: from a short up it is trouble or alarm, then normal, then trouble",
                hint="reset the panel before each resistor and wait for its whole delay",
            )
        where.append(at)
    return where


def _name(low: int, high: int) -> list[str]:
    """Return the names of the edges between two windows; an alarm right below normal leaves nothing in between."""
    edges = {BELOW: "short_below_v", ALARM: "alarm_below_v", BETWEEN: "normal_from_v", NORMAL: "open_from_v"}
    return [name for at, name in edges.items() if low <= at < high]


def _build_edge(name: str, source: Source, low: Trial, high: Trial, share: float) -> Edge:
    below, above = source.divide(low.resistor_ohm, share), source.divide(high.resistor_ohm, share)
    low_v, high_v = max(below.value - _SDS * below.sd, 0.0), above.value + _SDS * above.sd
    return Edge(name, low_v, high_v, low.resistor_ohm, high.resistor_ohm, _choose_next(low, high))


def _choose_next(low: Trial, high: Trial) -> float | None:
    """Return the common resistor nearest to the middle of a bracket, on a scale of ratios, or None inside it."""
    if low.resistor_ohm and high.resistor_ohm / low.resistor_ohm < _CLOSE:
        return None
    some = [r for r in read_catalogue().values.end_resistor_ohm if low.resistor_ohm < r < high.resistor_ohm]
    if not some:
        return None
    bottom, top = max(low.resistor_ohm, some[0] / 2), min(high.resistor_ohm, some[-1] * 2)
    return min(some, key=lambda r: abs(math.log(r * r / bottom / top)))
