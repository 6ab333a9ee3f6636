"""Copper wire: gauge, area, resistance.

Annealed copper of the International Annealed Copper Standard (IACS): 58 MS/m at 20 °C, temperature coefficient
0.00393 per kelvin (IEC 60028; NBS Circular 31). AWG diameters by the formula of ASTM B258. Largest resistances
of metric conductors, classes 1 and 2, plain copper, from IEC 60228.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from diagnostics.errors import QuantityError, quote
from diagnostics.units.quantity import parse_quantity

COPPER_RESISTIVITY_20C_OHM_M: Final = 1e-6 / 58
TEMPERATURE_COEFFICIENT_20C: Final = 0.00393

# IEC 60228, classes 1 and 2, plain: area in mm² → largest resistance at 20 °C in ohm per metre.
_IEC_60228_MAX_OHM_PER_M = {0.5: 0.0360, 0.75: 0.0245, 1.0: 0.0181, 1.5: 0.0121, 2.5: 0.00741, 4.0: 0.00461}

_AWG = re.compile(r"(?:awg ?#?|#)(\d{1,2})|(\d{1,2}) ?(?:awg|ga|gauge)", re.ASCII)
# Gauge and number of conductors, as cable is called in North America: "18/2" (common practice, no source).
_CABLE = re.compile(r"(1[0-9]|2[0-4]) ?[/-] ?[24](?: ?(?:awg|ga|gauge))?", re.ASCII)
_AWG_RANGE = range(41)  # 0 to 40, the span that the formula is tabulated for
_AREA_RANGE_MM2 = (0.01, 120.0)
_HINT = "write for example 18 AWG or 1.5 mm²"


@dataclass(frozen=True, slots=True)
class Gauge:
    """One size of solid copper conductor.

    ``resistance_20c_ohm_per_m`` is that of IACS copper with this area; ``max_20c_ohm_per_m`` the largest that
    IEC 60228 permits in classes 1 and 2, None for AWG and for areas that it does not list. Both are per conductor.
    """

    name: str
    area_mm2: float
    resistance_20c_ohm_per_m: float
    max_20c_ohm_per_m: float | None = None


def copper_resistance_ohm_per_m(area_mm2: float, temperature_c: float = 20.0) -> float:
    """Return the resistance of one metre of IACS copper, in ohms.

    Linear in temperature about 20 °C, as IEC 60028 has it.
    """
    at_20c = COPPER_RESISTIVITY_20C_OHM_M * 1e6 / area_mm2
    return at_20c * (1 + TEMPERATURE_COEFFICIENT_20C * (temperature_c - 20))


def parse_gauge(text: str) -> Gauge:
    """Return the gauge written as "18 AWG", "AWG 18", "18/2", "1.0 mm²" or "1,5 mm2".

    A bare number is refused: 18 is a gauge to one reader and an area to another. Raises QuantityError.
    """
    compact = " ".join(text[:80].casefold().split())
    awg = _AWG.fullmatch(compact)
    if awg:
        return _build_awg(int(awg[1] or awg[2]), text)
    if cable := _CABLE.fullmatch(compact):
        return _build_awg(int(cable[1]), text)
    if not compact.endswith(("2", "²", "sq", "mm")) or compact.replace(".", "").replace(",", "").isdigit():
        raise QuantityError(f"{quote(text)} is not a wire size", text=text, unit="gauge", hint=_HINT)
    return _build_metric(parse_quantity(text, "mm2"), text)


def _build_awg(number: int, text: str) -> Gauge:
    if number not in _AWG_RANGE:
        raise QuantityError(f"{quote(text)} is beyond 40 AWG", text=text, unit="gauge", hint=_HINT)
    diameter_mm = 0.127 * 92 ** ((36 - number) / 39)
    area_mm2 = math.pi / 4 * diameter_mm**2
    return Gauge(f"{number} AWG", area_mm2, copper_resistance_ohm_per_m(area_mm2))


def _build_metric(area_mm2: float, text: str) -> Gauge:
    low, high = _AREA_RANGE_MM2
    if not low <= area_mm2 <= high:
        raise QuantityError(f"{quote(text)} is no wire of a detection loop", text=text, unit="gauge", hint=_HINT)
    shown = "1.0" if area_mm2 == 1 else f"{area_mm2:g}"
    maximum = _IEC_60228_MAX_OHM_PER_M.get(area_mm2)
    return Gauge(f"{shown} mm²", area_mm2, copper_resistance_ohm_per_m(area_mm2), maximum)
