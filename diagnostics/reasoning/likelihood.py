"""How well a reading fits each hypothesis: meter, spread, censoring and slips."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from diagnostics.readings import Forecast, Meter, find_own_sd, read_table

Array = NDArray[np.float64]

# Shares of the slips among wrong readings, and the widest readings expected; invented.
SLIP_TURNED, SLIP_PREFIX, SLIP_LEAD_OFF, SLIP_ANY = 0.2, 0.2, 0.3, 0.3
WIDEST_V = 60.0
LEAST_OHM = 0.1
_FLOOR = 1e-300
_OVER_UNKNOWN = 0.15


@dataclass(frozen=True, slots=True)
class Fit:
    """A reading against all hypotheses, (hypothesis,) each, and against *something not modelled* (one number).

    ``likelihood`` is a density or a probability, the same for all; ``tail`` is the chance of a reading at least as far
    off, slips left out; ``sound`` is the share of the likelihood that no slip explains.
    """

    likelihood: Array
    tail: Array
    sound: Array
    not_modelled: float


def rate_reading(forecast: Forecast, value: float | str, shift: Array, spread: Array, meter: Meter) -> Fit:
    """Return how a reading fits.

    Parameters
    ----------
    forecast
        What each hypothesis expects.
    value
        Volts, ohms (``math.inf`` for over-range) or a word.
    shift, spread
        How far earlier readings have moved the expectation, and one sd of what is still open, (hypothesis,); V or Ω.
    meter
        The meter that was used.
    """
    if isinstance(value, str):
        return _rate_word(forecast, value)
    if forecast.mean is None:
        raise TypeError(f"{forecast.measurement.kind} gives a word, not a number")
    mean = forecast.mean + shift
    if forecast.measurement.kind == "ohms":
        return _rate_ohms(value, mean, spread, forecast.measurement.data.misread, meter)
    return _rate_volts(value, mean, spread, forecast.measurement.data.misread, meter)


def _rate_word(forecast: Forecast, value: str) -> Fit:
    if forecast.chance is None:
        raise TypeError(f"{forecast.measurement.kind} gives a number, not a word")
    tokens, chance = forecast.tokens, forecast.chance
    at = tokens.index(value) if value in tokens else tokens.index("other") if "other" in tokens else -1
    if at < 0:
        raise ValueError(f"{value!r} is no outcome of {forecast.measurement.kind}")
    misread = forecast.measurement.data.misread
    floor = misread / len(tokens)
    told = chance[:, at]
    sound = np.clip((told - floor) / np.maximum(told, _FLOOR), 0.0, 1.0)
    return Fit(told, np.clip((told - floor) / (1 - misread), 0.0, 1.0), sound, 1.0 / len(tokens))


def _normal(value: float, mean: Array, sd: Array) -> Array:
    density: Array = np.exp(-0.5 * ((value - mean) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
    return density


def _rate_volts(value: float, mean: Array, spread: Array, slips: float, meter: Meter) -> Fit:
    sd = np.hypot(spread, find_own_sd(mean, "V", meter))
    right, tail = _with_ghosts(value, mean, _normal(value, mean, sd), 2 * ndtr(-np.abs(value - mean) / sd))
    milli, kilo = (_normal(value, mean * f, sd * f + 1e-3) for f in (1e-3, 1e3))
    lead_off = _normal(value, np.zeros_like(mean), np.full_like(mean, 0.05))
    anything = 1.0 / (2 * WIDEST_V)
    slip = SLIP_TURNED * _normal(value, -mean, sd) + SLIP_PREFIX * 0.5 * (milli + kilo)
    slip = slip + SLIP_LEAD_OFF * lead_off + SLIP_ANY * anything
    return _mix(right, slip, slips, tail, anything)


def _with_ghosts(value: float, mean: Array, density: Array, tail: Array) -> tuple[Array, Array]:
    """Mix in the coupled volts that a dead pair shows now and then, of either sign; they are no slip."""
    ghost = read_table().ghost
    share = np.where(np.abs(mean) < ghost.dead_v, ghost.share, 0.0)
    beyond = math.exp(-abs(value) / ghost.size_v)
    return (1 - share) * density + share * beyond / (2 * ghost.size_v), (1 - share) * tail + share * beyond


def _rate_ohms(value: float, mean: Array, spread: Array, slips: float, meter: Meter) -> Fit:
    """Rate on a logarithmic scale; over-range is a censored outcome with a probability of its own."""
    over = meter.ohms_over
    safe = np.clip(mean, LEAST_OHM, None)
    sd = np.hypot(spread, find_own_sd(safe, "ohm", meter)) / safe
    beyond = ndtr(np.log(safe / over) / np.maximum(sd, 1e-3))
    shut, tail, seeps = _find_seepage(value, safe, over)
    decades = math.log(over / LEAST_OHM)
    if math.isinf(value):
        slip = np.full_like(mean, SLIP_LEAD_OFF + (SLIP_ANY + SLIP_TURNED) * _OVER_UNKNOWN)
        beyond = (1 - seeps) * beyond + seeps * shut
        return _mix(beyond, slip, slips, beyond, _OVER_UNKNOWN)
    read = max(value, LEAST_OHM)
    away = math.log(read) - np.log(safe)
    right = _normal(0.0, away, sd)  # what lies beyond the range is cut off by the display, and counted as OL above
    kilo, milli = (_normal(0.0, away + f, sd) for f in (math.log(1e3), -math.log(1e3)))
    anything = (1 - _OVER_UNKNOWN) / decades
    slip = SLIP_PREFIX * 0.5 * (kilo + milli) + (SLIP_ANY + SLIP_TURNED) * anything
    tail = (1 - seeps) * (1 - beyond) * 2 * ndtr(-np.abs(away) / sd) + seeps * tail
    return _mix((1 - seeps) * right, slip, slips, tail, anything, beside=seeps * shut)


def _find_seepage(value: float, mean: Array, over: float) -> tuple[Array, Array, Array]:
    """Return density or chance, tail and share of a reading that something beside the pair explains, (hypothesis,).

    What passes beside it lies in parallel, its ohms lognormal; over range, it is the chance that both are beyond.
    """
    seepage = read_table().seepage
    share = np.where(mean >= seepage.from_ohm, seepage.share, 0.0)
    read = min(max(value, LEAST_OHM), over)
    beside_s = 1 / read - 1 / mean
    is_less = beside_s > 0
    ohm = 1 / np.where(is_less, beside_s, 1.0)
    away = np.log(ohm / seepage.ohm) / seepage.log_sd
    if math.isinf(value):
        shut = np.where(is_less, ndtr(-away), 0.0)
        return shut, shut, share
    density = _normal(0.0, away, np.ones_like(mean)) / seepage.log_sd * ohm / read
    return np.where(is_less, density, 0.0), np.where(is_less, 2 * ndtr(-np.abs(away)), 0.0), share


def _mix(right: Array, slip: Array, slips: float, tail: Array, anything: float, *, beside: Array | float = 0.0) -> Fit:
    """Mix what is right, what is a slip, and what is neither: from ``beside`` nothing is learnt of the unknowns."""
    whole = (1 - slips) * (right + beside) + slips * slip + _FLOOR
    return Fit(whole, tail, (1 - slips) * right / whole, anything)
