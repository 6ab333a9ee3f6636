"""A loop as it is when its values are off: shared unknowns moved, current limits lifted, the battery run down."""

import math
from collections.abc import Mapping
from dataclasses import replace

from .edits import Add, Edits, Remove
from .elements import Curve, Element, How, Kind, Spread
from .loop import Loop

BATTERY = "source.battery"
_NOT_OUTPUTS = (BATTERY, "source.charger")
# More than any output of a panel can give: what is then drawn is what is asked for.
_NO_LIMIT_A = 1000.0


def shift_unknowns(loop: Loop, shifts: Mapping[str, float]) -> Loop:
    """Return the loop with each shared unknown moved by so many standard deviations; one that is not named stays."""
    return replace(loop, elements=tuple(_shift(e, shifts) for e in loop.elements))


def lift_limits(loop: Loop) -> Loop:
    """Return the loop with outputs that give whatever is asked of them; the charger keeps its limit."""
    return replace(loop, elements=tuple(_lift(e) if find_limit_a(e) else e for e in loop.elements))


def find_limit_a(element: Element) -> float | None:
    """Return the current limit (A) of an output, or None for anything else."""
    if element.kind is not Kind.SOURCE or element.curve is None or element.name in _NOT_OUTPUTS:
        return None
    return max(abs(i) for _, i in element.curve.points)


def discharge_battery(loop: Loop, battery_v: float) -> Edits:
    """Return the edits that leave the battery with volts of its own (V) that are exactly these."""
    cells = loop.by_name[BATTERY]
    if cells.curve is None:
        raise TypeError(f"{cells.name} is no battery")
    curve = replace(cells.curve, points=((battery_v, 0.0),))
    return Remove(BATTERY), Add(replace(cells, curve=curve, emf_v=battery_v, spreads=()))


def multiply_load(element: Element, times: int) -> Element:
    """Return so many of a load in parallel, as one more element beside it."""
    if element.curve is None:
        raise TypeError(f"{element.name} is no load")
    points = tuple((v, times * i) for v, i in element.curve.points)
    curve = Curve(points, times * element.curve.before_s, times * element.curve.after_s)
    return replace(element, name=f"{element.name}.more", curve=curve)


def _shift(element: Element, shifts: Mapping[str, float]) -> Element:
    shares = {s: s.share * shifts.get(s.unknown, 0.0) for s in element.spreads}
    if element.resistance_ohm is not None:
        times = math.prod(max(0.0, 1 + share) for s, share in shares.items() if s.how is not How.ADDED)
        times += sum(share for s, share in shares.items() if s.how is How.ADDED)
        return (
            replace(element, resistance_ohm=max(element.resistance_ohm * times, 1e-6))
            if any(shares.values())
            else element
        )
    for spread, share in shares.items():
        if share and element.curve is not None:
            element = _bend(element, element.curve, spread, share)
    return element


def _bend(element: Element, curve: Curve, spread: Spread, share: float) -> Element:
    """Return an element with a curve moved by a share of its volts, its resistance or its current."""
    if spread.how is How.EMF:
        points = tuple((v + share * element.emf_v, i) for v, i in curve.points)
        return replace(element, curve=replace(curve, points=points), emf_v=element.emf_v * (1 + share))
    if spread.how is How.RESISTANCE:
        ohm, (_, limit_a) = (1 + share) / curve.after_s, curve.points[0]
        points = ((element.emf_v + limit_a * ohm, limit_a),)
        return replace(element, curve=replace(curve, points=points, after_s=1 / ohm))
    return replace(element, curve=_scale_current(curve, spread.segments, 1 + share))


def _scale_current(curve: Curve, segments: tuple[int, ...], times: float) -> Curve:
    """Scale all of a load's current, or only its level, or only what it draws below its knee, which stays under it."""
    level_a = max(abs(i) for _, i in curve.points)
    if not segments:
        points = tuple((v, times * i) for v, i in curve.points)
        return Curve(points, times * curve.before_s, times * curve.after_s)
    is_level = len(curve.points) in segments
    top_a = level_a * times if is_level else level_a

    def scale(current_a: float) -> float:
        moved = current_a * times if (abs(current_a) == level_a) is is_level else current_a
        return min(max(moved, -top_a), top_a)

    return replace(curve, points=tuple((v, scale(i)) for v, i in curve.points))


def _lift(element: Element) -> Element:
    """Move the corner of the limit out along the same resistance: of a source, or of what passes the battery on."""
    curve = element.curve
    if curve is None:
        return element
    if element.emf_v:
        point = (element.emf_v - _NO_LIMIT_A / curve.after_s, -_NO_LIMIT_A)
        return replace(element, curve=replace(curve, points=(point,)))
    (v, i) = curve.points[-1]
    return replace(element, curve=replace(curve, points=(curve.points[0], (v * _NO_LIMIT_A / i, _NO_LIMIT_A))))
