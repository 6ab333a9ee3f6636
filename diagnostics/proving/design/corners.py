"""How far the tolerances of a loop can take its volts: each unknown moved the worse way, all at once, by the engine."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import MeterInput, Settled, read_meter, solve_batch
from diagnostics.wiring import Edits, Hold, Loop, discharge_battery, shift_unknowns

# A tolerance is taken as two standard deviations, as everywhere else: about the central 95 %.
TOLERANCE_SDS = 2.0
# What makes outputs give the most: whatever feeds, higher; whatever stands in the way, lower.
HEAVY: Final = dict.fromkeys(
    (
        "zone_supply",
        "aux_supply",
        "reset_drive",
        "separate_supply",
        "loop_supply",
        "detector_current",
        "clamp",
        "battery",
    ),
    TOLERANCE_SDS,
) | dict.fromkeys(("zone_source", "cable_length", "temperature", "end_resistor"), -TOLERANCE_SDS)
_NO_METER = MeterInput(1e13)
_NO_MATTER_V = 1e-6
Array = NDArray[np.float64]
Pair = tuple[str, str]
Shifts = dict[str, float]


@dataclass(frozen=True, slots=True)
class Case:
    """One circumstance: what is edited (an alarm is a latch held), and the battery's own volts where it feeds (V).

    ``battery_v`` None is *on mains*.
    """

    edits: Edits = ()
    battery_v: float | None = None


def hold_alarm(detectors: Iterable[str]) -> Edits:
    """Return the edits that keep detectors in alarm, whatever their volts: whether they can stay so is looked at."""
    return tuple(Hold(f"{name}.latched", value=True) for name in detectors)


@dataclass(frozen=True, slots=True)
class Reach:
    """Volts (or amperes) as described and at the two corners; ``low_shifts`` lead to the low one, in sd of each."""

    nominal: float
    low: float
    high: float
    low_shifts: tuple[tuple[str, float], ...] = ()


def settle_cases(loop: Loop, cases: Sequence[Case]) -> Settled:
    """Return every circumstance settled, one column each.

    Raises
    ------
    PhysicsError
        A circuit has no balance of volts and currents.
    """
    edits = [c.edits if c.battery_v is None else (*c.edits, *discharge_battery(loop, c.battery_v)) for c in cases]
    carried = np.array([c.battery_v is not None for c in cases])
    return solve_batch(loop, edits, [{"panel.on_battery": carried}] if carried.any() else [])


def find_reaches(loop: Loop, cases: Sequence[Case], wanted: Sequence[tuple[int, Pair]]) -> list[Reach]:
    """Return how far the volts of (number of a case, pair of terminals) reach, in the order wanted.

    The slopes at the operating point say which way is the worse one for each unknown; the corner itself is solved.
    """
    settled = settle_cases(loop, cases)
    pairs = list(dict.fromkeys(pair for _, pair in wanted))
    shown = read_meter(settled, pairs, _NO_METER)
    signs = []
    for case, pair in wanted:
        slopes = shown.slopes[:-1, pairs.index(pair), case]
        signs.append(np.where(np.abs(slopes) < _NO_MATTER_V, 0.0, np.sign(slopes)))
    corners = _merge([side * sign for sign in signs for side in (-1, 1)])
    found = np.empty(2 * len(wanted))
    for corner, members in corners:
        shifted = shift_unknowns(loop, _name_shifts(loop, corner))
        numbers = sorted({wanted[m // 2][0] for m in members})
        there = settle_cases(shifted, [cases[n] for n in numbers])
        for m in members:
            case, pair = wanted[m // 2]
            found[m] = there.volts(*pair)[numbers.index(case)]
    ways = [tuple(_name_shifts(loop, -sign).items()) for sign in signs]
    return [
        Reach(float(settled.volts(*pair)[case]), float(found[2 * n]), float(found[2 * n + 1]), ways[n])
        for n, (case, pair) in enumerate(wanted)
    ]


def find_current_a(settled: Settled, name: str, column: int) -> float:
    """Return what an element carries (A, never negative) in one column, where nothing edits it."""
    element = settled.network.loop.by_name[name]
    across = float(settled.volts(element.a, element.b)[column])
    if element.curve is not None:
        return abs(element.curve.current_a(across))
    return abs(across) / (element.resistance_ohm or float("inf"))


def _name_shifts(loop: Loop, corner: Array) -> Shifts:
    return {u: TOLERANCE_SDS * float(s) for u, s in zip(loop.unknowns, corner, strict=True) if s}


def _merge(signs: Sequence[Array]) -> list[tuple[Array, list[int]]]:
    """Put those together that contradict each other nowhere: an unknown that one does not mind may lie anywhere."""
    groups: list[tuple[Array, list[int]]] = []
    for number, sign in enumerate(signs):
        fits = next((n for n, (corner, _) in enumerate(groups) if bool((corner * sign >= 0).all())), None)
        if fits is None:
            groups.append((sign, [number]))
            continue
        corner, members = groups[fits]
        groups[fits] = (np.where(corner == 0, sign, corner), [*members, number])
    return groups
