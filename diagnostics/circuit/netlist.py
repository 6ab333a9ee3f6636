"""A settled circuit as an ngspice netlist, so that anybody can solve it again without this program."""

import re
from collections.abc import Iterable, Mapping

from diagnostics.wiring import EARTH, Curve, Element, Loop, apply_edits

from .settle import Settled

# Where an outer segment is told its slope: far enough to stand clear of the corner, near enough to keep its digits.
_OUTER_V = 100.0
# gmin and reltol as ngspice wants them for circuits with teraohms; the others keep it iterating below a microvolt.
_OPTIONS = ".options gmin=1e-15 reltol=1e-9 abstol=1e-15 vntol=1e-9 itl1=500"
_DIGITS = 15


def find_conducting(loop: Loop, signals: Mapping[str, bool]) -> tuple[Element, ...]:
    """Return the elements that conduct while the discrete states are ``signals``."""
    return tuple(e for e in loop.elements if all(signals[g.signal] == g.when for g in e.gates))


def name_nodes(terminals: Iterable[str]) -> dict[str, str]:
    """Return a node name for each terminal: lower case, ``det1.in+`` is ``det1_inp``; earth is ``0``.

    Two terminals that would share a name are told apart by a number.
    """
    names = {EARTH: "0"}
    taken = {"0"}
    for terminal in terminals:
        if terminal not in names:
            names[terminal] = _find_free(_clean(terminal), taken)
    return names


def write_netlist(settled: Settled, title: str) -> str:
    """Return one settled circuit in its present discrete state as an ngspice netlist.

    Every terminal is a node, told in a table of comments; units are those of ngspice (volts, amperes, ohms). Run
    with ``ngspice -b``, it prints the volts of every node to earth.

    Raises
    ------
    ValueError
        The batch holds more than one circuit.
    """
    if settled.columns.size != 1:
        raise ValueError(f"a netlist is of one circuit, not of {settled.columns.size}: take one column first")
    network = settled.network
    loop = apply_edits(network.loop, network.edits[int(settled.columns[0])])
    signals = {name: bool(settled.signal(name)[0]) for name in network.loop.signals}
    nodes = name_nodes(loop.terminals)
    table = [f"* {node} = {terminal}" for terminal, node in nodes.items()]
    taken: set[str] = set()
    lines = [_write_element(e, nodes, taken) for e in find_conducting(loop, signals)]
    control = [".control", f"set numdgt={_DIGITS}", "op", "print all", ".endc", ".end"]
    return "\n".join([" ".join(title.split()) or "circuit", *table, *lines, _OPTIONS, *control]) + "\n"


def _write_element(element: Element, nodes: dict[str, str], taken: set[str]) -> str:
    letter = "R" if element.curve is None else "B"
    name = _find_free(f"{letter}{_clean(element.name)}", taken)
    a, b = nodes[element.a], nodes[element.b]
    if element.curve is None:
        return f"{name} {a} {b} {element.resistance_ohm!r}"
    return f"{name} {a} {b} I=pwl(V({a},{b}), {_write_points(element.curve)})"


def _write_points(curve: Curve) -> str:
    """Return corners as ``volts, amperes``, with a point beyond either end that carries the outer slope."""
    (first_v, first_a), (last_v, last_a) = curve.points[0], curve.points[-1]
    before = (first_v - _OUTER_V, first_a - _OUTER_V * curve.before_s)
    after = (last_v + _OUTER_V, last_a + _OUTER_V * curve.after_s)
    return ", ".join(f"{v!r},{i!r}" for v, i in (before, *curve.points, after))


def _clean(text: str) -> str:
    """Return a name of letters, digits and underscores; + and - become p and m."""
    return re.sub(r"[^a-z0-9]", "_", text.lower().replace("+", "p").replace("-", "m"))


def _find_free(name: str, taken: set[str]) -> str:
    """Return the name, numbered if it is taken, and take it; ngspice tells no capitals from small letters."""
    free, number = name, 1
    while free.lower() in taken:
        number += 1
        free = f"{name}_{number}"
    taken.add(free.lower())
    return free
