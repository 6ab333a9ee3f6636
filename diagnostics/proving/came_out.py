"""What came out at a repair in the referee's world, measured, and held to what had been suspected."""

from collections.abc import Sequence
from dataclasses import dataclass

from diagnostics.reasoning import (
    Candidate,
    Fitting,
    asks_diode,
    build_shown,
    foresee_out,
    list_asked,
    parse_diode,
    parse_shown,
    rate_out,
)
from diagnostics.referee import World, measure_out

from .policies import Interval, find_share
from .stand import Stand


def prove_cause(stand: Stand, world: World, candidates: Sequence[Candidate], repair: tuple[str, str]) -> Fitting | None:
    """Return whether what a repair takes out of a world fits what had been suspected; None for nothing to measure.

    Measured is every place that was suspected and is measured the way of the likeliest, and the worst is written down.
    """
    foreseen = foresee_out(stand.bench.loop, candidates, repair)
    asked = list_asked(foreseen)
    if not asked or asked[0].way is None:
        return None
    out = measure_out(world, asked[0].way, list(dict.fromkeys(each.place for each in asked)))
    diode = parse_diode(out.diode) if out.diode and asks_diode(asked) else None
    shown = build_shown([parse_shown(text) for text in (out.one, out.turned) if text], diode)
    told = rate_out(foreseen, shown, stand.bench.meter)
    return None if told is None else told.fitting


@dataclass(frozen=True, slots=True)
class Causes:
    """Of right repairs, what came out measured: the share said to fit, not to (a false alarm), or neither."""

    fits: Interval
    alarms: Interval
    cannot_tell: Interval


def tally_causes(told: Sequence[Fitting | None]) -> Causes:
    """Return the shares of what was said; what was not measured does not count."""
    some = [each for each in told if each is not None]
    words: tuple[Fitting, ...] = ("fits", "does not fit", "cannot tell")
    return Causes(*(find_share([each == word for each in some]) for word in words))
