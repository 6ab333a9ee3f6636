"""Groups: hypotheses that no available measurement can tell apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform
from scipy.special import ndtri

from diagnostics.readings import Forecast, Measurement, Meter, find_sd

Array = NDArray[np.float64]
APART = 2.0
_FARTHEST = 99.0


@dataclass(frozen=True, slots=True)
class Group:
    """Numbers of hypotheses that belong together, most probable first; probability of all of them.

    ``d_prime`` is the largest difference within the group over all measurements, below 2 by construction.
    """

    members: tuple[int, ...]
    probability: float
    d_prime: float


def rate_differences(forecast: Forecast, meter: Meter) -> Array:
    """Return d′ of every two hypotheses in one measurement, (hypothesis, hypothesis).

    Numbers: difference over combined spread. Words: the d′ of an observer who is right as often as the total variation
    distance allows.
    """
    if forecast.chance is not None:
        return _word_differences(forecast.chance)
    if forecast.mean is None:
        raise TypeError("a forecast has either numbers or words")
    if forecast.measurement.kind == "ohms":
        mean = np.clip(forecast.mean, 0.1, meter.ohms_over)
        sd = (
            np.hypot(np.where(forecast.mean >= meter.ohms_over, 0.0, forecast.spread), find_sd(mean, "ohm", meter))
            / mean
        )
        place = np.log(mean)
    else:
        place, sd = forecast.mean, np.hypot(forecast.spread, find_sd(forecast.mean, "V", meter))
    apart: Array = np.abs(place[:, None] - place[None]) / np.hypot(sd[:, None], sd[None])
    return apart


def _word_differences(chance: Array) -> Array:
    _, first, which = np.unique(chance.round(6), axis=0, return_index=True, return_inverse=True)
    rows = chance[first]
    variation = 0.5 * np.abs(rows[:, None] - rows[None]).sum(axis=2)
    apart = 2 * ndtri(np.clip((1 + variation) / 2, 0.5, 1 - 1e-12))
    which = which.ravel()
    wide: Array = apart[np.ix_(which, which)]
    return wide


def find_groups(forecasts: Sequence[Forecast], probability: Array, meter: Meter) -> tuple[tuple[Group, ...], Array]:
    """Return the groups, most probable first, and the largest d′ of every two hypotheses."""
    count = probability.size
    apart = np.zeros((count, count))
    for forecast in forecasts:
        np.maximum(apart, rate_differences(forecast, meter), out=apart)
    apart = np.minimum(apart, _FARTHEST)
    np.fill_diagonal(apart, 0.0)
    if count == 1:
        return (Group((0,), float(probability[0]), 0.0),), apart
    names = fcluster(linkage(squareform(apart, checks=False), "complete"), APART - 1e-9, "distance")
    groups = [_build_group(np.flatnonzero(names == name), probability, apart) for name in np.unique(names)]
    return tuple(sorted(groups, key=lambda g: (-g.probability, g.members))), apart


def _build_group(members: NDArray[np.intp], probability: Array, apart: Array) -> Group:
    order = members[np.argsort(-probability[members], kind="stable")]
    inside = float(apart[np.ix_(order, order)].max())
    return Group(tuple(int(n) for n in order), float(probability[order].sum()), inside)


def find_splitter(
    group: Group, measurements: Sequence[Forecast], meter: Meter, minutes: Sequence[float]
) -> Measurement | None:
    """Return the cheapest measurement, offered or not, in which some two members differ by 2 or more; or None."""
    members = np.array(group.members)
    able = [
        (cost, n)
        for n, (forecast, cost) in enumerate(zip(measurements, minutes, strict=True))
        if rate_differences(forecast.take(members), meter).max() >= APART
    ]
    return measurements[min(able)[1]].measurement if able else None
