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
Index = NDArray[np.intp]
LEADING = 6  # groups whose answers are told, whatever they are; invented


def expect_answers(action: Action | None, groups: Sequence[Group], narrow: Bench, some: Belief) -> tuple[Expected, ...]:
    """Return what the chosen measurement would show under each of the leading groups.

    Of the other groups, too, where it is something that none before gives.
    """
    if action is None or action.measurement is None:
        return ()
    (forecast,) = narrow.forecast_all([action.measurement])
    shift, spread = some.expect(forecast)
    found: list[Expected] = []
    for n, group in enumerate(groups):
        members = np.array(group.members)
        answer = _expect(n, forecast, members, some.probability[members], (shift[members], spread[members]), narrow)
        if answer is not None and (n < LEADING or all(answer.is_apart(other) for other in found)):
            found.append(answer)
    return tuple(found)


def _expect(
    number: int, forecast: Forecast, members: Index, weight: Array, moved: tuple[Array, Array], narrow: Bench
) -> Expected | None:
    """Return what one group would show; ``moved`` are shift and spread that earlier readings left, (member,) each."""
    if forecast.chance is not None:
        best = int(np.argmax(weight @ forecast.chance[members]))
        return Expected(number, state=forecast.tokens[best])
    if forecast.mean is None:
        return None
    m = forecast.measurement
    instead = [find_seen_instead(m, narrow.loop, narrow.hypotheses[n]) for n in members]
    if instead[0] is not None:
        return Expected(number, state=instead[0])
    there = np.array([word is None for word in instead])
    shift, spread = moved
    low, high = _find_range(forecast, forecast.mean[members[there]] + shift[there], spread[there], narrow.meter)
    return Expected(number, low, high, m.unit)


def _find_range(forecast: Forecast, mean: Array, spread: Array, meter: Meter) -> tuple[float, float]:
    """Return between which readings (V or Ω) nearly all of a group's would lie; ``math.inf`` is over-range."""
    unit: Unit = "ohm" if forecast.measurement.kind == "ohms" else "V"
    sd = np.hypot(spread, find_own_sd(mean, unit, meter))
    low, high = float((mean - 2 * sd).min()), float((mean + 2 * sd).max())
    if unit == "V":
        return low, high
    low, high = (math.inf if ohm > meter.ohms_over else max(ohm, 0.0) for ohm in (low, high))
    return low, high
