"""Current over voltage of the parts that are not plain resistors, each continuous and non-decreasing."""

from .elements import Curve
from .parts import Part

# Slope of a one-way path, drop and slope of a shunt diode; invented round values, see parts.yaml for the rest.
ONE_WAY_OHM = 1.0
SHUNT_V = 0.7
SHUNT_OHM = 1.0
COIL_DIODE_V = 0.6

Points = list[tuple[float, float]]


def build_standby_curve(part: Part) -> Curve:
    """Return what a detector draws in standby: next to nothing below its knee, level from its minimum volts up."""
    low_ohm = part.number_or_none("low_volts_ohm") if "low_volts_ohm" in part.values else None
    return _with_reverse(part, _rising(part, part.number("standby_a"), low_ohm), 0.0)


def build_alarm_curve(part: Part) -> Curve:
    """Return what a latched four-wire detector draws."""
    return _with_reverse(part, _rising(part, part.number("alarm_a"), None), 0.0)


def build_clamp_curve(part: Part) -> Curve:
    """Return what a latched two-wire detector draws: nothing below its clamp volts, then a small resistance."""
    return _with_reverse(part, [(part.number("clamp_v"), 0.0)], 1.0 / part.number("clamp_ohm"))


def build_coil_curve(part: Part) -> Curve:
    """Return the coil of a relay, with or without a diode in series."""
    slope = 1.0 / part.number("coil_ohm")
    if part.word("reversed") == "works":
        return Curve(((0.0, 0.0),), slope, slope)
    return Curve(((COIL_DIODE_V, 0.0),), 0.0, slope)


def build_one_way_curve(part: Part) -> Curve:
    """Return a path that conducts from plus in to plus out only."""
    return Curve(((part.number("one_way_v"), 0.0),), 0.0, 1.0 / ONE_WAY_OHM)


def _rising(part: Part, level_a: float, low_ohm: float | None) -> Points:
    knee_v, minimum_v = part.number("knee_v"), part.number("minimum_v")
    low_a = 0.0 if low_ohm is None else min(knee_v / low_ohm, level_a)
    start: Points = [] if low_ohm is None else [(0.0, 0.0)]
    return [*start, (knee_v, low_a), (minimum_v, level_a)]


def _with_reverse(part: Part, forward: Points, after_s: float) -> Curve:
    """Add what the part does with its wires exchanged: it blocks, works as well, or conducts like a shunt diode."""
    match part.word("reversed"):
        case "works":
            backward = [(-v, -i) for v, i in reversed(forward) if v > 0]
            return Curve((*backward, *forward), after_s, after_s)
        case "conducts":
            return Curve(((-SHUNT_V, 0.0), *forward), 1.0 / SHUNT_OHM, after_s)
        case _:
            return Curve(tuple(forward), 0.0, after_s)
