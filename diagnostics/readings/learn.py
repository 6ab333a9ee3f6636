"""A panel zone that nobody lists, learnt from a few readings at its lifted terminals: its source, and its windows.

Thevenin's theorem and the voltage divider (T. R. Kuphaldt, Lessons In Electric Circuits, volume I, chapters 6 and 10;
any textbook of circuits): with a resistor R across the terminals a linear source shows V = E - Rs·V/R, a straight line
of volts over current; two readings give it, a third must lie on it. The meter's own resistance is one more load. What
is only known to lie within limits counts as spread evenly between them: one standard deviation is the limit / √3 (Guide
to the Expression of Uncertainty in Measurement, JCGM 100:2008, 4.3.7; from memory).
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from diagnostics.errors import PhysicsError
from diagnostics.wiring import MOST_V

from .data import Meter
from .meter import find_limit

Array = NDArray[np.float64]
Line = Literal["straight", "limited", "bent"]
# A straight source is called crooked once in so many cases; invented.
CROOKED: Final = 0.002
# A resistance of which one sd is more than this share is not known; invented.
BLUNT: Final = 0.25
LEAST_V: Final = 3.0  # a zone works with no less; common practice, no source
# One standard deviation of what lies anywhere within limits of one, even odds.
EVEN: Final = 3**-0.5
_SDS: Final = 1.959963984540054  # of the central 95 % of a normal distribution
_ROUNDS: Final = 25


@dataclass(frozen=True, slots=True)
class Reading:
    """Volts across the lifted terminals with a resistor (ohm) on them; ``share`` is one sd of that, as a fraction.

    An infinite resistance is nothing but the meter. A resistor of 5 % has a share of 5 % / √3.
    """

    volts_v: float
    resistor_ohm: float = float("inf")
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Learnt:
    """One value and one sd of it, in its own unit; ``low`` and ``high`` are the central 95 %."""

    value: float
    sd: float

    @property
    def low(self) -> float:
        """Return the lower end of the central 95 %."""
        return self.value - _SDS * self.sd

    @property
    def high(self) -> float:
        """Return the upper end of the central 95 %."""
        return self.value + _SDS * self.sd


@dataclass(frozen=True, slots=True)
class Source:
    """The source behind a zone: its open-circuit volts (V) and its resistance (ohm), and whether it is one.

    ``fit`` is the chance that a straight source is read at least as crooked. Where it is too small, ``line`` says how:
    *limited* where the readings sag below the line, *bent* above it; ``limit_a`` is the current (A) that two loads
    have in common, or None. ``moves`` is the covariance of volts and resistance.
    """

    zone_v: Learnt
    zone_ohm: Learnt
    fit: float
    line: Line
    limit_a: float | None
    moves: float

    def divide(self, resistor_ohm: float, share: float = 0.0) -> Learnt:
        """Return the volts (V) across a resistor on this source without a meter, and their sd."""
        if np.isinf(resistor_ohm):
            return self.zone_v
        part = resistor_ohm / (self.zone_ohm.value + resistor_ohm)
        volts_v = self.zone_v.value * part
        by_ohm = -volts_v / (self.zone_ohm.value + resistor_ohm)
        own = (part * self.zone_v.sd) ** 2 + (by_ohm * self.zone_ohm.sd) ** 2 + 2 * part * by_ohm * self.moves
        return Learnt(volts_v, float(np.sqrt(max(own + (volts_v * (1 - part) * share) ** 2, 0.0))))


def learn_source(readings: Sequence[Reading], meter: Meter) -> Source:
    """Return the source behind a zone from its volts, open and with known resistors.

    The least squares of three things that may be off: every reading by the meter, every resistor by its tolerance.

    Raises
    ------
    PhysicsError
        Fewer than three different loads, volts that do not fall with the resistor, which no source does, or volts that
        move too little to tell its resistance.
    """
    told = sorted(readings, key=lambda r: -r.resistor_ohm)
    _check(told)
    volts = np.array([r.volts_v for r in told])
    theta, covariance, misfit = _fit(told, volts, EVEN * find_limit(volts, "V", meter), 1 / meter.input_ohm)
    fit = float(chi2.sf(misfit, len(told) - 2))
    zone_v, zone_ohm = (Learnt(float(theta[n]), float(np.sqrt(covariance[n, n]))) for n in (0, 1))
    line, limit_a = ("straight", None) if fit >= CROOKED else _find_shape(told, meter)
    if line == "straight" and zone_ohm.sd > BLUNT * zone_ohm.value:
        raise PhysicsError(
            "the volts hardly move: these readings cannot tell the resistance behind the zone",
            hint="take smaller resistors, rated for what they then carry, or measure them first",
        )
    return Source(zone_v, zone_ohm, fit, line, limit_a, float(covariance[0, 1]))


def _check(told: Sequence[Reading]) -> None:
    loads = [r.resistor_ohm for r in told]
    if len(set(loads)) < 3 or len(set(loads)) != len(loads):
        raise PhysicsError(
            "three readings with three different loads are wanted",
            hint="volts with nothing on the terminals, then with two resistors of different values",
        )
    volts = [r.volts_v for r in told]
    if max(volts) > MOST_V:
        raise PhysicsError(
            f"no zone of a panel has more than {MOST_V:g} V: stop, hands off",
            hint="another circuit touches this one, and it may be mains; keep others away, have it made safe by a "
            "licensed person, and measure nothing more here before that",
        )
    if 0 < volts[0] < LEAST_V:
        raise PhysicsError(
            f"no zone of a panel works below {LEAST_V:g} V",
            hint="was the panel on, and the meter on DC volts? type V for volts, mV only for thousandths",
        )
    if min(volts) <= 0 or any(more <= less for more, less in itertools.pairwise(volts)):
        raise PhysicsError(
            "no source behaves so: volts must be above zero and fall with the resistor",
            hint="red on zone plus, field wires lifted, each resistor read when the volts stand still; then again",
        )


def _fit(told: Sequence[Reading], volts: Array, sd: Array, meter_s: float) -> tuple[Array, Array, float]:
    """Return (E, Rs, each resistor's deviation in sds), their covariance, and the misfit (chi squared).

    Gauss and Newton from the first and the last reading, in whole steps; near a straight line they do not wander.
    """
    load_s = np.array([1 / r.resistor_ohm for r in told])
    share = np.array([r.share for r in told])
    first, last = volts[0], volts[-1]
    ohm = (first - last) / (last * (load_s[-1] + meter_s) - first * (load_s[0] + meter_s))
    theta = np.concatenate([[first * (1 + ohm * (load_s[0] + meter_s)), ohm], np.zeros(len(told))])
    prior = np.hstack([np.zeros((len(told), 2)), np.eye(len(told))])
    for _ in range(_ROUNDS):
        loads = load_s / (1 + share * theta[2:]) + meter_s
        below = 1 + theta[1] * loads
        model = theta[0] / below
        by_load = -theta[0] * theta[1] / below**2
        own = np.diag(by_load * -share * load_s / (1 + share * theta[2:]) ** 2)
        slopes = np.hstack([(1 / below)[:, None], (-theta[0] * loads / below**2)[:, None], own])
        matrix = np.vstack([slopes / sd[:, None], prior])
        miss = np.concatenate([(volts - model) / sd, -theta[2:]])
        theta = theta + np.linalg.lstsq(matrix, miss, rcond=None)[0]
    covariance = np.linalg.inv(matrix.T @ matrix).astype(np.float64)
    return theta, covariance, float(miss @ miss)


def _find_shape(told: Sequence[Reading], meter: Meter) -> tuple[Line, float | None]:
    """Return how readings leave the line of the two lightest loads, and the current (A) that two have in common."""
    (open_v, open_s), (mid_v, mid_s), *_ = [(r.volts_v, 1 / r.resistor_ohm + 1 / meter.input_ohm) for r in told]
    ohm = (open_v - mid_v) / (mid_v * mid_s - open_v * open_s)
    heaviest = told[-1]
    straight = open_v * (1 + ohm * open_s) / (1 + ohm * (1 / heaviest.resistor_ohm + 1 / meter.input_ohm))
    if heaviest.volts_v >= straight:
        return "bent", None
    (light_a, light_sd), (heavy_a, heavy_sd) = (_find_current(r, meter) for r in told[-2:])
    same = abs(light_a - heavy_a) <= 3 * np.hypot(light_sd, heavy_sd)
    return "limited", (light_a + heavy_a) / 2 if same else None


def _find_current(r: Reading, meter: Meter) -> tuple[float, float]:
    """Return the current (A) through a resistor, and one sd of it."""
    current_a = r.volts_v / r.resistor_ohm
    return current_a, float(current_a * np.hypot(EVEN * find_limit(r.volts_v, "V", meter) / r.volts_v, r.share))
