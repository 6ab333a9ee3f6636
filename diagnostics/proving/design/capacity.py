"""How many detectors of the kind at its far end a loop can carry, and what gives out first; tried count by count.

Two-wire: the panel must still tell a missing end resistor from normal, and normal from anything else, and the last
detector must have its volts. With a supply beside the zone: the output must be able to feed all in alarm.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.wiring import Add, Edits, Loop, Remove, find_limit_a, lift_limits, multiply_load, shift_unknowns

from .chains import Stretch, Watched, find_span, list_outputs, list_worst_alarm
from .corners import HEAVY, Case, Pair, find_current_a, find_reaches, hold_alarm, settle_cases

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
    counts = [_fit(loop, stretch, n + 1) for n in range(MOST_COUNTED)]
    tests = list(_list_tests(loop, stretch, watched, counts))
    nominal, worst = ({t.why: _count(t.flags[side]) for t in tests} for side in (0, 1))
    least = min(worst, key=lambda why: worst[why])
    return Capacity(min(nominal.values()), worst[least], least if worst[least] < MOST_COUNTED else "")


@dataclass(frozen=True, slots=True)
class _Test:
    why: str
    flags: tuple[Flags, Flags]


def _list_tests(loop: Loop, stretch: Stretch, watched: Sequence[Watched], counts: Sequence[Edits]) -> Iterator[_Test]:
    own = [w for w in watched if w.stretch == stretch and w.path[0] == "loops"]
    last = stretch.detectors[-1]
    alarm = () if stretch.spec.style.is_two_wire else hold_alarm(list_worst_alarm(loop))
    at_last = (last.plus, last.minus)
    yield _Test("volts", _test_volts(lift_limits(loop), (counts, alarm), at_last, (last.powered_v, float("inf"))))
    if stretch.spec.style.is_two_wire:
        for w in own:
            yield _Test("standby", _test_volts(loop, (counts, ()), w.ends, find_span(w.bands, "normal")))
            missing = (Remove(w.resistor),)
            yield _Test("open", _test_volts(loop, (counts, missing), w.ends, find_span(w.bands, "open")))
    else:
        yield _Test("load", (_test_load(loop, counts, alarm, {}), _test_load(loop, counts, alarm, HEAVY)))


def _test_volts(
    loop: Loop, what: tuple[Sequence[Edits], Edits], ends: Pair, span: tuple[float, float]
) -> tuple[Flags, Flags]:
    """Return for each count whether volts stay in a span (V): as described, and at the low corner too."""
    counts, edits = what
    cases = [Case((*count, *edits)) for count in counts]
    (reach,) = find_reaches(loop, [Case(edits)], [(0, ends)])
    found = [settle_cases(at, cases).volts(*ends) for at in (loop, shift_unknowns(loop, dict(reach.low_shifts)))]
    nominal, low = ((volts >= span[0]) & (volts <= span[1]) for volts in found)
    return nominal, nominal & low


def _test_load(loop: Loop, counts: Sequence[Edits], alarm: Edits, shifts: Mapping[str, float]) -> Flags:
    """Return for each count whether every output can give what all in alarm would draw."""
    settled = settle_cases(shift_unknowns(lift_limits(loop), shifts), [Case((*count, *alarm)) for count in counts])
    fits = np.ones(len(counts), dtype=np.bool_)
    for name in list_outputs(loop):
        limit_a = find_limit_a(loop.by_name[f"source.{name}"])
        drawn_a = [find_current_a(settled, f"source.{name}", n) for n in range(len(counts))]
        fits &= np.array(drawn_a) <= (limit_a or 0.0)
    return fits


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
