"""What is known of a loop from how it was left: readings of the sound loop move the shared unknowns before any other.

Linear-Gaussian, as for every reading: the unknowns are conditioned on the sound loop, then opened again a little, since
the supply, the meter and the temperature of today are not those of that day.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from diagnostics.readings import Bench

from .belief import FITS, Belief, Taken, keep_latest, update

# One sd of how far each unknown has wandered since, in its own standard deviations; invented.
DRIFT_SDS: Final = 0.25


def tell_baseline(belief: Belief, bench: Bench, baseline: Sequence[Taken]) -> Belief:
    """Return the belief with its unknowns as an earlier visit left them; no probability changes.

    ``bench`` must hold *healthy* first. The last unknowns stay as open as they were: that day there was another meter,
    or the same in another mood, and no fault. A reading that does not fit the sound loop (below 0.1 %) is left out.
    """
    taken = keep_latest(baseline)
    if not taken:
        return belief
    sound = bench.narrow(np.array([0]))
    alone = before = Belief(np.ones(1), 0.0, belief.moved[:1], belief.open[:1])
    for forecast, reading in zip(sound.forecast_all([t.measurement for t in taken]), taken, strict=True):
        told, tail = update(alone, forecast, reading.value, bench.meter)
        alone = told if tail[0] >= FITS else alone
    if alone is before:
        return belief
    moved, open_ = belief.moved.copy(), belief.open.copy()
    same = len(bench.loop.unknowns)
    moved[:, :same] = alone.moved[0, :same]
    open_[:, :same, :same] = alone.open[0, :same, :same] + DRIFT_SDS**2 * np.eye(same)
    return replace(belief, moved=moved, open=open_)
