"""What came out at a repair in the referee's world, measured, and held to what had been suspected."""

from collections.abc import Sequence

from diagnostics.reasoning import Candidate, Told, foresee_out, list_asked, parse_shown, rate_out
from diagnostics.referee import World, measure_out

from .stand import Stand


def prove_cause(stand: Stand, world: World, candidates: Sequence[Candidate], repair: tuple[str, str]) -> Told | None:
    """Return whether what a repair takes out of a world fits what had been suspected; None for nothing to measure.

    Measured is every place that was suspected and is measured the way of the likeliest, and the worst is written down.
    """
    foreseen = foresee_out(stand.bench.loop, candidates, repair)
    asked = list_asked(foreseen)
    if not asked or asked[0].way is None:
        return None
    out = measure_out(world, asked[0].way, list(dict.fromkeys(each.place for each in asked)))
    return rate_out(foreseen, parse_shown(out.one, out.turned), stand.bench.meter)
