"""What an interface module must be doing, reasoned from the volts of a netlist typed by hand.

Thresholds and windows are invented; they stand here once, beside the netlists that lean on them. Volts are what ngspice
gave for a netlist in which the module's contacts were assumed; the caller compares the assumption with the answer here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.external.hand_panel import Step

PULL_IN_V, DROP_OUT_V = 12.0, 8.0
LOOP_WINDOWS_V = ((2.0, "alarm"), (8.0, "alarm"), (12.0, "trouble"), (18.0, "normal"))  # first: a short; above: open
TROUBLE_CONTACTS = {"fire": "Rtfire", "co": "Rtco"}
ALARM_CONTACTS = {"fire": "Rafire", "co": "Raco"}
NEAR_V = 0.05


@dataclass(frozen=True, slots=True)
class WatchedLoop:
    """One pair of loop screws: its source when powered, its nodes, its output (None: by the detectors' labels)."""

    source: str
    plus: str
    minus: str
    output: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Module:
    """The loops that a module watches, and the label that each latched detector carries on a two-wire loop."""

    loops: tuple[WatchedLoop, ...]
    labels: dict[str, str]

    @property
    def controlled(self) -> frozenset[str]:
        """Return the netlist elements that are there or not by the module's state."""
        contacts = {*TROUBLE_CONTACTS.values(), *ALARM_CONTACTS.values()}
        return frozenset(contacts | {loop.source for loop in self.loops})


def read_module(row: Mapping[str, Any]) -> Module:
    """Read the table typed in an edits file."""
    return Module(tuple(WatchedLoop(**loop) for loop in row["loops"]), dict(row.get("labels", {})))


def is_powered(supply_v: float, *, before: bool, alive: bool) -> bool:
    """Return whether the module is up: hysteresis on the volts at its supply screws."""
    assert min(abs(supply_v - edge) for edge in (PULL_IN_V, DROP_OUT_V)) > NEAR_V, f"{supply_v:.3f} V is near an edge"
    return alive and (supply_v > DROP_OUT_V if before else supply_v >= PULL_IN_V)


def find_loop_state(loop_v: float) -> str:
    """Return normal, trouble or alarm by the module's windows on its loop screws."""
    assert min(abs(loop_v - edge) for edge, _ in LOOP_WINDOWS_V) > NEAR_V, f"{loop_v:.3f} V is near a window's edge"
    return next((state for top, state in LOOP_WINDOWS_V if loop_v < top), "trouble")


def find_outputs_in_alarm(module: Module, loop: WatchedLoop, latched: frozenset[str]) -> set[str]:
    """Return the outputs that a loop in alarm closes; nobody latched counts as fire."""
    if loop.output is not None:
        return {loop.output}
    return {module.labels[name] for name in latched} or {"fire"}


def find_expected_elements(module: Module, volts: Mapping[str, float], latched: frozenset[str]) -> frozenset[str]:
    """Return which of the controlled elements a powered module has in the circuit at these volts."""
    states = {loop: find_loop_state(volts[loop.plus] - volts[loop.minus]) for loop in module.loops}
    elements = {loop.source for loop in module.loops}
    if "trouble" not in states.values():
        elements |= set(TROUBLE_CONTACTS.values())
    for loop in (loop for loop, state in states.items() if state == "alarm"):
        elements |= {ALARM_CONTACTS[output] for output in find_outputs_in_alarm(module, loop, latched)}
    return frozenset(elements)


def check_module(module: Module, steps: Sequence[Step]) -> None:
    """Hold the module's sources and contacts typed into each step to what its supply and its loops give."""
    powered = False
    for number, step in enumerate(steps):
        supply_v = step.across("module_inp", "module_inm")
        powered = is_powered(supply_v, before=powered, alive="Bmodule" in step.elements)
        expected = find_expected_elements(module, step.volts, step.latched) if powered else frozenset[str]()
        assert step.elements & module.controlled == expected, f"step {number}: {supply_v:.3f} V at the module"
