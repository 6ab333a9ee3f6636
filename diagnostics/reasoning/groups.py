"""Groups: hypotheses that no available measurement can tell apart."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.sparse.csgraph import connected_components
from scipy.spatial.distance import squareform
from scipy.special import ndtri

from diagnostics.readings import Forecast, Measurement, Meter, find_own_sd

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Part = Callable[[Index], Sequence[Forecast]]
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
            np.hypot(np.where(forecast.mean >= meter.ohms_over, 0.0, forecast.spread), find_own_sd(mean, "ohm", meter))
            / mean
        )
        place = np.log(mean)
    else:
        place, sd = forecast.mean, np.hypot(forecast.spread, find_own_sd(forecast.mean, "V", meter))
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


def find_groups(parts: Iterable[Part], probability: Array, meter: Meter, least: float = 0.0) -> tuple[Group, ...]:
    """Return the groups of at least this probability, most probable first.

    ``parts`` are all the measurements, a few together, each asked for as forecasts of those hypotheses that can still
    matter: what differs by 2 or more from everything else is alone already, and hypotheses that only hang together
    with one another, improbable ones, make no group worth telling. So each group told is what all forecasts of all
    hypotheses would make of it.
    """
    apart = np.zeros((probability.size, probability.size))
    bodies = np.zeros(probability.size, dtype=np.intp)
    for part in parts:
        live = np.flatnonzero(_is_open(bodies, probability, least))
        if not live.size:
            break
        square = np.ix_(live, live)
        far = apart[square]
        for forecast in part(live):
            np.maximum(far, rate_differences(forecast, meter), out=far)
        apart[square] = far
        bodies[live] = live[_find_bodies(far)]
    whole = [np.flatnonzero(bodies == name) for name in np.unique(bodies)]
    groups = [_build_group(m, probability, apart) for body in whole for m in _cluster(body, apart)]
    return tuple(sorted((g for g in groups if g.probability >= least), key=lambda g: (-g.probability, g.members)))


def _is_open(bodies: Index, probability: Array, least: float) -> Flags:
    """Return which hypotheses are not alone, in bodies of at least this probability, (hypothesis,)."""
    count, weight = np.bincount(bodies), np.bincount(bodies, probability)
    open_: Flags = (count[bodies] > 1) & (weight[bodies] >= least)
    return open_


def _find_bodies(apart: Array) -> Index:
    """Return the first member of the body of each hypothesis: those that hang together by differences below 2.

    No group joins two bodies.
    """
    _, names = connected_components((apart < APART).astype(np.int8), directed=False)
    _, first = np.unique(names, return_index=True)
    body: Index = first[names]
    return body


def _cluster(body: Index, apart: Array) -> list[Index]:
    if body.size == 1:
        return [body]
    inside = np.minimum(apart[np.ix_(body, body)], _FARTHEST)
    np.fill_diagonal(inside, 0.0)
    names = fcluster(linkage(squareform(inside, checks=False), "complete"), APART - 1e-9, "distance")
    return [body[names == name] for name in np.unique(names)]


def _build_group(members: Index, probability: Array, apart: Array) -> Group:
    order = members[np.argsort(-probability[members], kind="stable")]
    inside = float(apart[np.ix_(order, order)].max())
    return Group(tuple(int(n) for n in order), float(probability[order].sum()), inside)


def find_splitter(
    measurements: Sequence[Measurement], forecasts: Sequence[Forecast], meter: Meter, minutes: Sequence[float]
) -> Measurement | None:
    """Return the cheapest measurement, offered or not, in which some two hypotheses differ by 2 or more; or None.

    ``forecasts`` are of the hypotheses of one group; dearer ones than the answer are not asked for.
    """
    cheapest_first = sorted(range(len(measurements)), key=lambda n: (minutes[n], n))
    able = (n for n in cheapest_first if rate_differences(forecasts[n], meter).max() >= APART)
    return next((measurements[n] for n in able), None)
