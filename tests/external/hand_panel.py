"""What panel, contacts and relays must be doing, reasoned from the volts of a netlist typed by hand.

Thresholds are invented. Volts are what ngspice gave for a netlist in which the discrete states were assumed; each check
here holds what was assumed against what those volts ask for. A module is in ``hand_module``.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

SHORT_BELOW_V = 2.0
WINDOWS_V = ((9.0, "alarm"), (14.0, "trouble"), (21.5, "normal"))  # below 2 V: a short, an alarm too on most panels
SUPPLY_V = 24.0
LIMIT_DROP_V = 0.75 * 0.5  # what the auxiliary output loses when its 750 mA limit is just reached
NEAR_V = 0.05
EARTH = "0"


@dataclass(frozen=True, slots=True)
class Step:
    """One solved step: elements of its netlist, volts of each node and of earth, who is assumed latched or closed."""

    elements: frozenset[str]
    volts: Mapping[str, float]
    latched: frozenset[str]

    def across(self, red: str, black: str) -> float:
        """Return the volts from one node to another."""
        return self.volts[red] - self.volts[black]

    def at_detector(self, name: str) -> float:
        """Return the volts across a detector's electronics."""
        return self.across(f"{name}_inp", f"{name}_inm")

    def at_zone(self, zone: str) -> float:
        """Return the volts across a zone's outgoing screws."""
        return self.across(f"panel_{zone}p", f"panel_{zone}m")


@dataclass(frozen=True, slots=True)
class Windows:
    """What a panel makes of the volts on a zone: upper edges in volts with a state each; above the last one: open."""

    short_state: str = "alarm"
    edges: tuple[tuple[float, str], ...] = WINDOWS_V
    short_below_v: float = SHORT_BELOW_V

    def find_state(self, zone_v: float) -> str:
        """Return normal, trouble or alarm."""
        if zone_v < self.short_below_v:
            return self.short_state
        return next((state for top, state in self.edges if zone_v < top), "trouble")

    @property
    def open_from_v(self) -> float:
        """Return the volts from which the zone counts as open."""
        return self.edges[-1][0]

    def margin(self, zone_v: float) -> float:
        """Return how far the volts are from the nearest edge."""
        return min(abs(zone_v - edge) for edge in (self.short_below_v, *(top for top, _ in self.edges)))


def find_linked_state(step: Step, link: Sequence[str], state: str) -> str:
    """Return what a class A panel shows: with its link closed an alarm, and else trouble whatever the volts say."""
    return "trouble" if step.elements >= set(link) and link and state != "alarm" else state


def is_open(windows: Windows, step: Step) -> bool:
    """Return whether the class A zone counts as open, clear of every edge."""
    zone_v = step.at_zone("zone1")
    assert windows.margin(zone_v) > NEAR_V, f"{zone_v:.3f} V is near an edge"
    return zone_v > windows.open_from_v


def check_link(
    link: Sequence[str], windows: Windows, steps: Sequence[Step], bare: Callable[[int], Step], resets: int | None
) -> None:
    """Hold the link typed into each step to the rule: closed once the zone is open without it, until a reset.

    ``bare(n)`` is step n solved with the link left open; ``resets`` is the number of the step with the reset.
    """
    closed = False
    for number, step in enumerate(steps):
        closed = number != resets and (closed or is_open(windows, bare(number)))
        assert step.elements & set(link) == (set(link) if closed else set()), f"step {number}: closed {closed}"


def check_contacts(steps: Sequence[Step], *, hot: str | None, always: str, never: str) -> None:
    """Hold the contacts typed closed in each step to the heat: in the second step alone, unless one is stuck."""
    for number, step in enumerate(steps):
        heated = {hot} if hot and number == 1 and hot != never else set()
        assert step.latched == heated | ({always} if always else set()), f"step {number}"


def find_expected_latches(
    before: Step, now: Step, release_v: float, *, lasting: bool, new: frozenset[str]
) -> frozenset[str]:
    """Return who must be latched: held from before while drawing current, or new smoke in a lit detector."""
    return new | {name for name in before.latched if lasting or now.at_detector(name) > release_v + 1e-3}


def check_end_relay(steps: Sequence[Step], coil: str, contact: str, in_v: float, out_v: float) -> None:
    """Hold an end relay's contact typed into each step to the volts at its coil, dropped out at first."""
    pulled_in = False
    for number, step in enumerate(steps):
        coil_v = step.across(f"{coil}_coilp", f"{coil}_coilm")
        pulled_in = coil_v > out_v if pulled_in else coil_v >= in_v
        assert (contact in step.elements) == pulled_in, f"step {number}: {coil_v:.3f} V at {coil}"


def check_reset_relay(steps: Sequence[Step], fault: str, number_of_reset: int | None) -> None:
    """Hold the reset relay typed into each step to the mode: operated in the reset step, unless the fault says not."""
    for number, step in enumerate(steps):
        driven = step.elements >= {"Rreset", "Rrcoil"} and "reset_relay_never_operates" not in fault
        operated = number == number_of_reset and driven
        assert ("Rno" in step.elements) == (operated or "relay_held" in fault), f"step {number}"
        assert ("Rnc" in step.elements) != ("Rno" in step.elements), f"step {number}"


def check_limits(steps: Sequence[Step], fault: str, zones: Sequence[str], supply_v: float = SUPPLY_V) -> None:
    """Hold the limit of the auxiliary output typed into each step to its volts; a zone never reaches its own.

    Outputs have the supply's volts on mains, and those of the battery where the panel hangs on that.
    """
    for step in steps:
        feed_v = step.across("panel_batteryp", "panel_common") if is_on_battery(step) else supply_v
        aux_v = step.across("panel_auxp", "panel_common")
        limited = "aux_dead" not in fault and aux_v < feed_v - LIMIT_DROP_V  # a dead output limits nothing
        assert ("Iaux" in step.elements) == limited, f"{aux_v:.3f} V at the auxiliary output"
        for zone in zones:
            assert (feed_v - step.across(f"panel_{zone}p", "panel_common")) / 1000.0 < 0.060, f"{zone} limit reached"


def is_on_battery(step: Step) -> bool:
    """Return whether the panel itself is typed as a load of its battery."""
    return "Rpanel" in step.elements


def is_panel_off(step: Step, runs_from_v: float) -> bool:
    """Return whether the panel is on a battery that does not carry it: it shows nothing then."""
    battery_v = step.across("panel_batteryp", "panel_batterym") if is_on_battery(step) else float("inf")
    assert abs(battery_v - runs_from_v) > NEAR_V, f"{battery_v:.3f} V: near what the panel needs"
    return battery_v < runs_from_v


def find_earth_lamp(step: Step, off_v: float) -> str:
    """Return right or earth trouble: earth too far off the middle between plus and minus of the auxiliary output."""
    from_middle_v = abs(step.across("panel_auxp", EARTH) - step.across(EARTH, "panel_auxm")) / 2
    assert abs(from_middle_v - off_v) > NEAR_V, f"{from_middle_v} V off: too near the lamp's edge"
    return "earth trouble" if from_middle_v > off_v else "right"


def find_unreasoned(step: Step, reasoned: Mapping[str, float], within_v: float = 0.1) -> list[str]:
    """Return where ngspice's volts are not those reasoned by hand; keys are a red and a black node."""
    found = {nodes: step.across(*nodes.split()) for nodes in reasoned}
    return [
        f"{n}: reasoned {reasoned[n]} V, ngspice {v:.4f} V" for n, v in found.items() if abs(v - reasoned[n]) > within_v
    ]


def find_node(terminal: str) -> str:
    """Return a terminal's node: det1.in+ is det1_inp, panel.zone1- is panel_zone1m, earth is 0."""
    return EARTH if terminal == "earth" else terminal.replace(".", "_").replace("+", "p").replace("-", "m").lower()


def find_wrong_volts(rows: Sequence[Mapping[str, Any]], step: Step) -> list[str]:
    """Return the readings that differ from ngspice by more than 1 mV and more than 0.1 %."""
    wrong = []
    for row in rows:
        expected_v = step.across(find_node(row["red"]), find_node(row["black"]))
        if abs(row["ideal"] - expected_v) > max(1e-3, 1e-3 * abs(expected_v)):
            wrong.append(f"{row['red']} to {row['black']}: program {row['ideal']:.5f} V, ngspice {expected_v:.5f} V")
    return wrong


def find_shared_volts(answer: Mapping[str, Any], mode: str, step: Step) -> list[dict[str, Any]]:
    """Return the program's volts readings in this mode whose two terminals are nodes typed here."""
    return [
        row
        for row in answer["readings"]
        if row["measurement"] == "volts"
        and row["mode"] == mode
        and find_node(row["red"]) in step.volts
        and find_node(row["black"]) in step.volts
    ]
