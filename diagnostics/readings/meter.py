"""What a hand meter makes of volts and ohms: display steps, limits of error, over-range."""

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from diagnostics.units import OVER

from .data import Meter, read_table

Array = NDArray[np.float64]
Unit = Literal["V", "ohm"]
# Lowest range of each function, as a multiple of the counts: 6.000 V and 600.0 Ω on 6000 counts (check-values, 5).
_LOWEST = {"V": 1e-3, "ohm": 0.1}


def find_step(value: Array | float, unit: Unit, meter: Meter) -> Array:
    """Return the display step (V or Ω) of the lowest range that shows a value; ranges go by tens."""
    size = np.abs(np.asarray(value, dtype=np.float64))
    top = _LOWEST[unit] * meter.counts
    decades = np.ceil(np.log10(np.maximum(size, top) / top) - 1e-12)
    step: Array = _LOWEST[unit] * 10.0**decades
    return step


def find_limit(value: Array | float, unit: Unit, meter: Meter) -> Array:
    """Return the limit of error (V or Ω): ± (percent of reading + digits).

    A reading of 100.0 V at ±(1 % + 2) lies within ±1.2 V.
    """
    percent, digits = (
        (meter.volts_percent, meter.volts_digits) if unit == "V" else (meter.ohms_percent, meter.ohms_digits)
    )
    size = np.abs(np.asarray(value, dtype=np.float64))
    limit: Array = percent / 100 * size + digits * find_step(size, unit, meter)
    return limit


def find_sd(value: Array | float, unit: Unit, meter: Meter) -> Array:
    """Return one standard deviation of a reading (V or Ω): the limits of error are taken as two of them.

    Volts have the stray volts of the leads besides: no hand meter tells 0 mV from 3 mV on a dead pair.
    """
    own = find_limit(value, unit, meter) / 2
    return np.hypot(own, read_table().stray_v) if unit == "V" else own


def find_own_sd(value: Array | float, unit: Unit, meter: Meter) -> Array:
    """Return the part of ``find_sd`` that comes anew with every reading (V or Ω)."""
    table = read_table()
    own = table.own_share * find_limit(value, unit, meter) / 2
    return np.hypot(own, table.stray_v) if unit == "V" else own


def find_kept_sd(value: Array | float, unit: Unit, meter: Meter) -> Array:
    """Return the part of ``find_sd`` that a meter keeps for all readings of a visit (V or Ω), its leads included."""
    kept: Array = math.sqrt(1 - read_table().own_share ** 2) * find_limit(value, unit, meter) / 2
    return kept


def show_value(value: float, unit: Unit, meter: Meter) -> float:
    """Return what the display shows: rounded to its step, ``OVER`` above the ohms range."""
    if unit == "ohm" and (value > meter.ohms_over or math.isinf(value)):
        return OVER
    step = float(find_step(value, unit, meter))
    return round(round(value / step) * step, 9)
