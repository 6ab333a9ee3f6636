"""Choosing the next action: a policy maps a situation to one action."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from diagnostics.readings import Forecast, Measurement, Meter, find_own_sd, list_kind_words

from .belief import MIMICS, TINY, Taken
from .lazily import Lazily, prepare

Array = NDArray[np.float64]
MOST_BINS = 24
LEAST_BITS = 0.01
MOST_PLACES, FIRST_PLACES = 24, 12  # of a family along a loop: asked all at once, or these first; invented
# A repair is tried before it is settled if it holds so much, and so many minutes would go into being sure of it; or if
# it holds nearly what is settled, and the best reading tells little in more minutes than it could save. What a repair
# in vain costs beside its own minutes: the way back, and to see that it was in vain; and the bits that are still open
# where something is settled. Invented.
LEAST_TRIED = 0.75
NEARLY_SETTLED = 0.9
LITTLE_BITS = 0.1
LONG_MINUTES = 30.0
IN_VAIN_MINUTES = 10.0
SETTLED_BITS = 0.3
_ROUNDING_BITS = 1e-9


@dataclass(frozen=True, slots=True)
class Action:
    """What to do next: measure something, repair a class of faults, or hand the case over; expected minutes.

    ``instead`` is a shorter step that is proposed beside this one; ``plan`` says how many steps were looked ahead.
    """

    action: Literal["measure", "repair", "hand_over"]
    minutes: float
    measurement: Measurement | None = None
    repair: int | None = None
    bits: float = 0.0
    again: bool = False
    instead: "Action | None" = None
    plan: Literal["", "exact", "rollout"] = ""


@dataclass(frozen=True, slots=True)
class Situation:
    """All that a policy may look at.

    ``probability`` (hypothesis,) and ``not_modelled`` sum to 1 or less; ``classes`` (hypothesis,) number the repair of
    each hypothesis, 0 is *nothing to repair*; ``shifts`` per forecast are shift and spread that earlier readings left.
    ``forecasts`` are of what can be measured and was not yet, all else is history: complaint and readings in order.
    Forecasts and shifts may be made only when asked for; ``offered`` then says of what, which costs nothing. ``stuck``
    is where a reading stands that fits nothing and others did not mend it: more of them would not either.
    """

    probability: Array
    not_modelled: float
    classes: NDArray[np.intp]
    forecasts: Sequence[Forecast]
    shifts: Sequence[tuple[Array, Array]]
    minutes: tuple[float, ...]
    repair_minutes: tuple[float, ...]
    settled: int | None
    again: Measurement | None
    hand_over_minutes: float
    meter: Meter
    symptom: str | None = None
    taken: tuple[Taken, ...] = ()
    offered: tuple[Measurement, ...] = ()
    stuck: bool = False

    @property
    def measurements(self) -> tuple[Measurement, ...]:
        """Return what can be measured, in the order of the forecasts."""
        return self.offered or tuple(f.measurement for f in self.forecasts)


class Policy(Protocol):
    """A way of working: from a situation to the next action."""

    def choose(self, situation: Situation) -> Action:
        """Return the next action."""
        ...


class InformationPerMinute:
    """One step ahead: the measurement that tells most about *which repair* for each minute, travel included.

    Class information per minute; on simulated loops it costs 0.5–1.6 % more minutes than an exact plan (measured, noise
    free, single faults). It repairs once settled, or once no measurement tells anything more and one repair leads, or
    where to try the repair that leads takes fewer minutes than to be sure of it. Where readings stand that do not go
    together, and more of them did not help, it repairs what leads clearly or hands the case over.
    """

    def choose(self, situation: Situation) -> Action:
        """Return the next action."""
        measurements = situation.measurements
        if situation.again is not None:
            at = [m.key for m in measurements].index(situation.again.key)
            return Action("measure", situation.minutes[at], situation.again, again=True)
        if situation.settled is not None:
            return _finish(situation, situation.settled)
        best = None if situation.stuck else find_best(situation)
        weight = np.bincount(situation.classes, situation.probability)
        leader = int(np.argmax(weight))
        if best is not None and not _is_worth_trying(situation, leader, best[1], situation.minutes[best[0]]):
            return Action("measure", situation.minutes[best[0]], measurements[best[0]], bits=best[1])
        if weight[leader] > max(situation.not_modelled, 0.3):
            return _finish(situation, leader)
        return Action("hand_over", situation.hand_over_minutes)


def _is_worth_trying(situation: Situation, leader: int, bits: float, minutes: float) -> bool:
    """Return whether to try the repair that leads takes fewer minutes than to be sure of it first.

    Sure of it means that what is open has been told at the pace of the best measurement, ``bits`` in ``minutes``, which
    is the most that can be hoped for. If the repair is right, those minutes are saved; if not, its own are lost. No
    reading saves more than these are expected to be.
    """
    weight = np.append(np.bincount(situation.classes, situation.probability), situation.not_modelled)
    held = float(weight[leader] / weight.sum())
    if leader == 0 or held < LEAST_TRIED:
        return False
    to_be_sure = max(0.0, _count_bits(weight) - SETTLED_BITS) * minutes / bits
    in_vain = situation.repair_minutes[leader] + IN_VAIN_MINUTES
    if held >= NEARLY_SETTLED and bits < LITTLE_BITS and minutes > (1 - held) * in_vain:
        return True
    return to_be_sure >= LONG_MINUTES and held * to_be_sure > (1 - held) * in_vain


def _count_bits(weight: Array) -> float:
    share = weight[weight > 0] / weight.sum()
    return float(-(share * np.log2(share)).sum())


def _finish(situation: Situation, repair: int) -> Action:
    if repair == 0:  # nothing to repair, and nothing left that would tell more
        return Action("hand_over", situation.hand_over_minutes)
    return Action("repair", situation.repair_minutes[repair], repair=repair)


def find_best(situation: Situation) -> tuple[int, float] | None:
    """Return the number and the bits of the measurement that tells most for each minute; None if none tells anything.

    Forecasts are made in the order of what each could tell at most, and no longer once the rest cannot win. On a long
    loop a few places are asked first, and then those around the best of them.
    """
    most, minutes = bound_information(situation), np.array(situation.minutes)
    told, able = np.zeros(len(minutes)), np.flatnonzero(most >= LEAST_BITS)
    pace = most / minutes
    families = _list_families(situation, able)
    between = {n for family in families for n in family.between}
    _tell_bits(situation, [int(n) for n in able if int(n) not in between], pace, told)
    for family in families:
        _tell_bits(situation, family.find_around(told / minutes), pace, told)
    best = int(np.argmax(told / minutes)) if told.size else 0
    return (best, float(told[best])) if told.any() else None


def _tell_bits(situation: Situation, some: Sequence[int], pace: Array, told: Array) -> None:
    """Put the bits of some measurements, as long as they can win; ``pace`` is the most that each tells a minute."""
    minutes = np.array(situation.minutes)
    for n in sorted(some, key=lambda n: -pace[n]):
        leader = float((told / minutes).max())
        if pace[n] < leader:
            break
        if isinstance(situation.forecasts, Lazily):
            _prepare_like(situation, n, [k for k in some if pace[k] >= leader])
        bits = rate_one(situation, n)
        told[n] = bits if bits >= LEAST_BITS else 0.0


@dataclass(frozen=True, slots=True)
class _Family:
    """Measurements of one kind and mode along a loop: their numbers, place by place, of which a few come first."""

    places: tuple[tuple[int, ...], ...]
    stride: int

    @property
    def between(self) -> tuple[int, ...]:
        """Return those at the places that do not come first."""
        return tuple(n for at, some in enumerate(self.places) if at % self.stride for n in some)

    def find_around(self, pace: Array) -> list[int]:
        """Return those at the places on both sides of the best that came first."""
        first = [n for some in self.places[:: self.stride] for n in some]
        best = max(first, key=lambda n: pace[n])
        at = next(at for at, some in enumerate(self.places) if best in some)
        near = range(max(0, at - self.stride + 1), min(len(self.places), at + self.stride))
        return [n for k in near if k != at for n in self.places[k]]


def _list_families(situation: Situation, able: NDArray[np.intp]) -> list[_Family]:
    """Return the families that are at many places, where forecasts are made only when asked for."""
    if not isinstance(situation.forecasts, Lazily):
        return []
    families: dict[tuple[str, str], dict[str, list[int]]] = {}
    for n in able:
        m = situation.measurements[int(n)]
        families.setdefault((m.kind, m.mode.word), {}).setdefault(m.place, []).append(int(n))
    many = [tuple(map(tuple, places.values())) for places in families.values() if len(places) > MOST_PLACES]
    return [_Family(places, math.ceil(len(places) / FIRST_PLACES)) for places in many]


def _prepare_like(situation: Situation, number: int, some: Sequence[int]) -> None:
    """Make the forecast of one measurement, and of those that are made by the same means, together."""
    measurements = situation.measurements
    wanted = (measurements[number].kind, measurements[number].mode.word)
    prepare(situation.forecasts, [n for n in some if (measurements[n].kind, measurements[n].mode.word) == wanted])


def bound_information(situation: Situation) -> Array:
    """Return bits that each measurement cannot exceed, (measurement,), without any forecast being made.

    No answer tells more than is open about the repair class, nor more than its number of words can say; an answer that
    is wrong for no reason tells nothing. Forecasts that are there already have no bound: they cost nothing.
    """
    if not isinstance(situation.forecasts, Lazily):
        return np.full(len(situation.forecasts), np.inf)
    open_ = _count_bits(np.append(np.bincount(situation.classes, situation.probability), situation.not_modelled))
    words = [len(list_kind_words(m.kind)) for m in situation.measurements]
    most = np.array([min(open_, math.log2(count)) if count else open_ for count in words])
    sound = np.array([1 - m.data.misread for m in situation.measurements])
    bound: Array = most * sound + _ROUNDING_BITS
    return bound


def rate_information(situation: Situation) -> Array:
    """Return the expected information about the repair class of each measurement, in bits, (measurement,)."""
    prepare(situation.forecasts, range(len(situation.forecasts)))
    return np.array([rate_one(situation, n) for n in range(len(situation.forecasts))])


def rate_one(situation: Situation, number: int) -> float:
    """Return the expected information about the repair class of one measurement, in bits."""
    return _rate_one(situation, situation.forecasts[number], *situation.shifts[number])


def _rate_one(situation: Situation, forecast: Forecast, shift: Array, spread: Array) -> float:
    chance = build_outcomes(forecast, shift, spread, situation.meter)
    count, outcomes = int(situation.classes.max()) + 1, chance.shape[1]
    joint = np.empty((count + 1, outcomes))
    for n, weighted in enumerate(chance.T * situation.probability):
        joint[:count, n] = np.bincount(situation.classes, weighted, minlength=count)
    rest = joint[:count].sum(axis=0)
    joint[count] = situation.not_modelled * (MIMICS * rest / max(rest.sum(), TINY) + (1 - MIMICS) / outcomes)
    return find_information(joint)


def find_information(joint: Array) -> float:
    """Return the mutual information (bits) of a joint distribution, (class, outcome); it need not sum to 1."""
    joint = joint / joint.sum()
    there = np.flatnonzero(joint)
    inside = joint.ravel()[there]
    # Logarithms one by one: the product of two tiny shares would vanish.
    by_row, by_column = (np.log2(np.maximum(joint.sum(axis=axis), TINY)) for axis in (1, 0))
    apart = (by_row[:, None] + by_column).ravel()[there]
    return max(0.0, float((inside * (np.log2(inside) - apart)).sum()))


def build_outcomes(forecast: Forecast, shift: Array, spread: Array, meter: Meter) -> Array:
    """Return the chance of each distinguishable outcome, (hypothesis, outcome); numbers are put in bins."""
    if forecast.chance is not None:
        return forecast.chance
    if forecast.mean is None:
        raise TypeError("a forecast has either numbers or words")
    mean = forecast.mean + shift
    if forecast.measurement.kind == "ohms":
        safe = np.clip(mean, 0.1, meter.ohms_over)
        sd = np.hypot(spread, find_own_sd(safe, "ohm", meter)) / safe
        mean, sd = np.log(safe), np.where(mean >= meter.ohms_over, 1e-3, np.minimum(sd, 2.0))
    else:
        sd = np.hypot(spread, find_own_sd(mean, "V", meter))
    edges = _find_edges(mean, sd)
    below = ndtr((edges[:, None] - mean) / sd)
    chance: Array = np.ones((edges.size + 1, mean.size))
    chance[:-1] = below
    chance[1:] -= below
    slips = forecast.measurement.data.misread
    return ((1 - slips) * chance + slips / len(chance)).T


def _find_edges(mean: Array, sd: Array) -> Array:
    """Return bin edges half-way between neighbouring expectations that the meter tells apart; the widest gaps win."""
    order = np.argsort(mean, kind="stable")
    low, high = mean[order[:-1]], mean[order[1:]]
    gap = (high - low) / (sd[order[:-1]] + sd[order[1:]])
    wide = np.flatnonzero(gap > 1.0)
    if wide.size > MOST_BINS - 1:
        wide = wide[np.argsort(-gap[wide], kind="stable")[: MOST_BINS - 1]]
    edges: Array = np.sort(0.5 * (low[wide] + high[wide]))
    return edges


def rank_measurements(situation: Situation) -> Sequence[tuple[Measurement, float, float]]:
    """Return (measurement, bits, minutes) of every measurement, best bits per minute first."""
    bits = rate_information(situation)
    rows = [(m, float(b), cost) for m, b, cost in zip(situation.measurements, bits, situation.minutes, strict=True)]
    return sorted(rows, key=lambda row: (-row[1] / row[2], row[0].key))
