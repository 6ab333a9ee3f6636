"""What the panel cannot see: faults with which every zone stands as on the sound loop, and how each could be found."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from diagnostics.circuit import build_network, settle_from_rest
from diagnostics.faults import Fault, build_all_edits
from diagnostics.readings import Bench, Measurement, find_zone_chances
from diagnostics.wiring import Loop

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
How = Literal["measured", "eye", "perhaps", "nothing"]
SURE: Final = 0.95


@dataclass(frozen=True, slots=True)
class Unseen:
    """A fault that the panel does not show, and the cheapest measurement that does, from the panel, or None.

    ``how``: measured; only by *eye* (nothing but a look tells it); *perhaps*, by a look or a review of settings that
    finds it in that ``share`` of cases; or by *nothing*. ``stays`` is the chance that the panel shows nothing, with
    every tolerance counted: below 0.95 it stands at an edge.
    """

    fault: Fault
    how: How
    found_by: Measurement | None
    minutes: float
    share: float
    stays: float

    @property
    def is_at_edge(self) -> bool:
        """Return whether the tolerances of this loop may well let the panel show it."""
        return self.stays < SURE


def list_unseen(bench: Bench, measurements: Sequence[Measurement], shows: Flags) -> tuple[Unseen, ...]:
    """Return the faults that the panel does not show, in the order of the hypotheses.

    ``shows`` says which measurement tells each fault from the sound loop, (fault, measurement).
    """
    loop, faults = bench.loop, [h[0] for h in bench.hypotheses[1:]]
    stays = _rate_panel(bench, measurements)
    cheap = sorted(range(len(measurements)), key=lambda n: (measurements[n].find_minutes("panel"), n))
    blind = np.flatnonzero(find_blind(loop, faults))
    return tuple(_find_way(faults[n], measurements, [m for m in cheap if shows[n, m]], float(stays[n])) for n in blind)


def find_blind(loop: Loop, faults: Sequence[Fault]) -> Flags:
    """Return with which faults every zone shows what it shows on the sound loop, in standby, settled, (fault,).

    Thresholds are taken as sharp, every part as described.
    """
    settled = settle_from_rest(build_network(loop, [(), *(build_all_edits(loop, [f]) for f in faults)]))
    each = [find_zone_chances(settled, zone.name, exact=True)[1].argmax(axis=1) for zone in loop.zones]
    shown = np.stack(each, axis=1)
    same: Flags = (shown[1:] == shown[0]).all(axis=1)
    return same


def _rate_panel(bench: Bench, measurements: Sequence[Measurement]) -> Array:
    """Return the chance that every zone shows what the sound loop likeliest does, (fault,)."""
    some = [m for m in measurements if m.kind == "panel_shows"]
    stays = np.ones(len(bench.hypotheses) - 1)
    for forecast in bench.forecast_all(some):
        if forecast.chance is None:
            raise TypeError("a panel shows words")
        floor = forecast.measurement.data.misread
        right = forecast.chance[1:, int(forecast.chance[0].argmax())]
        stays *= np.clip((right - floor / len(forecast.tokens)) / (1 - floor), 0.0, 1.0)
    return stays


def _find_way(fault: Fault, measurements: Sequence[Measurement], ways: Sequence[int], stays: float) -> Unseen:
    """Return how a fault is found, by the measurements that show it, the cheapest first."""
    found = measurements[ways[0]] if ways else None
    share = max(fault.data.sees.share, fault.data.settings_share)
    how: How = "measured" if any(measurements[n].kind != "look" for n in ways) else "eye"
    if found is None:
        how = "perhaps" if share > 0 else "nothing"
    return Unseen(fault, how, found, found.find_minutes("panel") if found else 0.0, share, stays)
