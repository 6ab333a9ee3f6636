"""What the next measurement would show under each of the leading groups: said before it is made."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from diagnostics.readings import Bench, Forecast, Meter, find_own_sd, find_seen_instead
from diagnostics.readings.meter import Unit

from .answer import Expected
from .belief import Belief
from .choose import Action
from .groups import Group

Array = NDArray[np.float64]


def expect_answers(action: Action | None, groups: Sequence[Group], narrow: Bench, some: Belief) -> tuple[Expected, ...]:
    """Return what the chosen measurement would show under each of the leading groups."""
    if action is None or action.measurement is None:
        return ()
    (forecast,) = narrow.forecast_all([action.measurement])
    shift, spread = some.expect(forecast)
    found = []
    for n, group in enumerate(groups[:6]):
        members = np.array(group.members)
        if forecast.chance is not None:
            weight = some.probability[members]
            best = int(np.argmax(weight @ forecast.chance[members]))
            found.append(Expected(n, state=forecast.tokens[best]))
            continue
        if forecast.mean is None:
            continue
        instead = [find_seen_instead(action.measurement, narrow.loop, narrow.hypotheses[m]) for m in members]
        if instead[0] is not None:
            found.append(Expected(n, state=instead[0]))
            continue
        members = members[[word is None for word in instead]]
        low, high = _find_range(forecast, forecast.mean[members] + shift[members], spread[members], narrow.meter)
        found.append(Expected(n, low, high, action.measurement.unit))
    return tuple(found)


def _find_range(forecast: Forecast, mean: Array, spread: Array, meter: Meter) -> tuple[float, float]:
    """Return between which readings (V or Ω) nearly all of a group's would lie; ``math.inf`` is over-range."""
    unit: Unit = "ohm" if forecast.measurement.kind == "ohms" else "V"
    sd = np.hypot(spread, find_own_sd(mean, unit, meter))
    low, high = float((mean - 2 * sd).min()), float((mean + 2 * sd).max())
    if unit == "V":
        return low, high
    low, high = (math.inf if ohm > meter.ohms_over else max(ohm, 0.0) for ohm in (low, high))
    return low, high
