"""What is wrong with a run of cable half-way along it: conductors that touch each other, earth, or another loop."""

from collections.abc import Sequence

from diagnostics.wiring import EARTH, Add, Chain, Edits, Element, Hold, Kind, Loop, Remove, SetResistance

from .data import read_catalogue
from .places import list_cores

SHORT_OHM = 0.01
_EARTHED_OHM = 100.0  # any value: each fault sets its own


def _cut_half_way(loop: Loop, names: Sequence[str]) -> Edits:
    """Cut conductors in the middle, for something else to be joined to ``middle.<terminal>``."""
    edits: list[Add | Remove] = []
    for name in names:
        wire = loop.by_name[name]
        half_ohm = (wire.resistance_ohm or 0.0) / 2
        middle = _name_middle(name)
        edits.append(Remove(name))
        for side, a, b, gates in (("near", wire.a, middle, wire.gates), ("far", middle, wire.b, ())):
            half = Element(f"{name}.{side}", Kind.CONDUCTOR, a, b, half_ohm, None, gates, wire.spreads)
            edits.append(Add(half))
    return tuple(edits)


def _name_middle(wire: str) -> str:
    return f"middle.{wire.removeprefix('wire.')}"


def build_short(loop: Loop, place: str, _ohm: float) -> Edits:
    """Let the two conductors of a run touch."""
    wires = loop.pairs[place]
    plus, minus = map(_name_middle, wires)
    return (*_cut_half_way(loop, wires), Add(Element(f"short.{place}", Kind.JOINT, plus, minus, SHORT_OHM)))


def build_leak(loop: Loop, place: str, ohm: float) -> Edits:
    """Let current pass between the two conductors of a run, as moisture does."""
    wires = loop.pairs[place]
    plus, minus = map(_name_middle, wires)
    bridge = Element(f"wet.{place}.{ohm:g}", Kind.RESISTOR, plus, minus, ohm)
    return (*_cut_half_way(loop, wires), Add(bridge, read_catalogue().values.spread_share))


def list_earthable(loop: Loop) -> tuple[str, ...]:
    """Return every conductor, and the terminals of the panel's battery."""
    return (*list_cores(loop), *(["module.in-"] if loop.module else []), loop.battery.plus, loop.battery.minus)


def build_earth(loop: Loop, place: str, ohm: float) -> Edits:
    """Join a conductor, half-way along its run, or a battery terminal, to earth.

    A panel with earth detection shows it. Where the panel has none, a meter from plus or minus to earth does: one side
    of a floating supply then sits at earth.
    """
    name, wire = f"earth_fault.{place}", f"wire.{place}"
    cut = _cut_half_way(loop, (wire,)) if wire in loop.by_name else ()
    end = _name_middle(wire) if cut else place
    share = read_catalogue().values.earth_spread_share
    return (*cut, Add(Element(name, Kind.RESISTOR, end, EARTH, _EARTHED_OHM)), SetResistance(name, ohm, share))


def list_touching(loop: Loop) -> tuple[str, ...]:
    """Return where the zone pair of a loop could touch that of the next one: runs of the same number, core by core."""
    found = []
    for one, two in zip(loop.chains, loop.chains[1:], strict=False):
        for here, there in zip(_list_zone_runs(loop, one), _list_zone_runs(loop, two), strict=False):
            found += [f"{a.removeprefix('wire.')}.{b.removeprefix('wire.')}" for a in here for b in there]
    return tuple(found)


def _list_zone_runs(loop: Loop, chain: Chain) -> list[tuple[str, str]]:
    """Return, from the start on, the runs of the pair on which a loop reports."""
    names = [d.name for d in chain.detectors]
    keys = [key for name in names for key in (f"{name}.in", f"{name}.in_contact") if key in loop.pairs]
    return [loop.pairs[key] for key in keys]


def build_touch(loop: Loop, place: str, _ohm: float) -> Edits:
    """Let a conductor of one loop touch a conductor of another one."""
    one, _, two = place.partition(".det")
    wires = (f"wire.{one}", f"wire.det{two}")
    here, there = map(_name_middle, wires)
    joint = Element(f"touch.{place}", Kind.JOINT, here, there, SHORT_OHM)
    return (*_cut_half_way(loop, wires), Add(joint))


def build_ac(_loop: Loop, place: str, _ohm: float) -> Edits:
    """Leave the circuit as it is: DC readings do not see alternating volts, their own measurement does.

    The panel does not know what to make of them: now and then it shows trouble or alarm, and clears again.
    """
    return (Hold(f"{place}.uneasy", value=True),)
