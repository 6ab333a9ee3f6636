"""How many detectors of the kind at its far end a loop can carry, and what gives out first; tried count by count.

Two-wire: the panel must still tell a missing end resistor from normal, and normal from anything else, and the last
detector must have its volts. With a supply beside the zone: the output must be able to feed all in alarm.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.wiring import Add, Edits, Loop, Remove, lift_limits, multiply_load, shift_unknowns

from .chains import Stretch, Watched, find_span, list_worst_alarm
from .corners import HEAVY, Case, Pair, find_current_a, find_reaches, hold_alarm, settle_cases
from .ratings import Rating, list_ratings

MOST_COUNTED = 128
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Capacity:
    """The largest number as described and at the worse corner; ``why`` says what gives out at one more.

    ``why`` is *open* (a missing end resistor hidden), *standby* (normal no longer read), *volts*, *load*, or empty
    where ``MOST_COUNTED`` still hold.
    """

    nominal: int
    worst: int
    why: str


def find_capacity(loop: Loop, stretch: Stretch, watched: Sequence[Watched]) -> Capacity:
    """Return how many detectors a loop carries, with cable as it is and further detectors at its far end."""
    tests = list(_list_tests(loop, stretch, watched))
    nominal, worst = ({t.why: _count(t.flags[side]) for t in tests} for side in (0, 1))
    least = min(worst, key=lambda why: worst[why])
    return Capacity(min(nominal.values()), worst[least], least if worst[least] < MOST_COUNTED else "")


@dataclass(frozen=True, slots=True)
class _Test:
    why: str
    flags: tuple[Flags, Flags]


def _list_tests(loop: Loop, stretch: Stretch, watched: Sequence[Watched]) -> Iterator[_Test]:
    """Yield what gives out, and for each count whether it holds: as described, and at the corner too."""
    if stretch.is_contacts:
        yield _Test("", (np.ones(MOST_COUNTED + 1, dtype=np.bool_),) * 2)
        return
    own = [w for w in watched if w.stretch == stretch and w.path[0] == "loops"]
    last, lifted = stretch.detectors[-1], lift_limits(loop)
    alarm = () if stretch.spec.style.is_two_wire else hold_alarm(list_worst_alarm(loop))
    span = (last.powered_v, float("inf"))
    yield _Test("volts", _test_volts(lifted, stretch, (alarm, (last.plus, last.minus), span)))
    if not stretch.spec.style.is_two_wire:
        ratings = tuple(list_ratings(loop))
        nominal, heavy = (_test_load(at, stretch, alarm, ratings) for at in (lifted, shift_unknowns(lifted, HEAVY)))
        yield _Test("load", (nominal, nominal & heavy))
        return
    for w in own:
        yield _Test("standby", _test_volts(loop, stretch, ((), w.ends, find_span(w.bands, "normal"))))
        yield _Test("open", _test_volts(loop, stretch, ((Remove(w.resistor),), w.ends, find_span(w.bands, "open"))))


def _test_volts(loop: Loop, stretch: Stretch, what: tuple[Edits, Pair, tuple[float, float]]) -> tuple[Flags, Flags]:
    """Return for each count whether the volts of a pair stay in a span (V): as described, and at the low corner too."""
    edits, ends, (low_v, high_v) = what
    (reach,) = find_reaches(loop, [Case(edits)], [(0, ends)])
    found = []
    for at in (loop, shift_unknowns(loop, dict(reach.low_shifts))):
        volts = settle_cases(at, _list_counts(at, stretch, edits)).volts(*ends)
        found.append((volts >= low_v) & (volts <= high_v))
    return found[0], found[0] & found[1]


def _test_load(lifted: Loop, stretch: Stretch, alarm: Edits, ratings: Sequence[Rating]) -> Flags:
    """Return for each count whether all that feeds can give what all in alarm would draw."""
    settled = settle_cases(lifted, _list_counts(lifted, stretch, alarm))
    fits = np.ones(MOST_COUNTED, dtype=np.bool_)
    for rating in ratings:
        fits &= np.array([find_current_a(settled, rating.element, n) for n in range(MOST_COUNTED)]) <= rating.limit_a
    return fits


def _list_counts(loop: Loop, stretch: Stretch, edits: Edits) -> list[Case]:
    return [Case((*_fit(loop, stretch, n + 1), *edits)) for n in range(MOST_COUNTED)]


def _fit(loop: Loop, stretch: Stretch, count: int) -> Edits:
    """Return the edits that leave so many detectors on a loop: the far ones taken off, or more put beside the last."""
    fitted = len(stretch.detectors)
    if count < fitted:
        gone = [_list_loads(loop, d.name) for d in stretch.detectors[count:]]
        return tuple(Remove(name) for names in gone for name in names)
    last = _list_loads(loop, stretch.detectors[-1].name) if count > fitted else ()
    return tuple(Add(multiply_load(loop.by_name[name], count - fitted)) for name in last)


def _list_loads(loop: Loop, detector: str) -> tuple[str, ...]:
    return tuple(n for n in (f"{kind}.{detector}" for kind in ("load", "alarm_load", "clamp")) if n in loop.by_name)


def _count(fits: Flags) -> int:
    """Return how many counts hold, from the first up to the last before one that does not."""
    return int(fits.size if fits.all() else np.argmin(fits))
