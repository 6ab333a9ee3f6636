"""Resistor colour bands, as IEC 60062 has them.

Two significant bands for ±5 % and wider, three for ±2 % and tighter; no tolerance band means ±20 %.
The three rare tolerances of the 2016 edition (orange, yellow, grey) are refused, not guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NoReturn

from diagnostics.errors import QuantityError, find_nearest, quote
from diagnostics.units.quantity import format_quantity, parse_quantity

_DIGITS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
_EXPONENTS = {colour: exponent for exponent, colour in enumerate(_DIGITS)} | {"gold": -1, "silver": -2}
_TOLERANCES_PERCENT = {
    "brown": 1.0,
    "red": 2.0,
    "green": 0.5,
    "blue": 0.25,
    "violet": 0.1,
    "gold": 5.0,
    "silver": 10.0,
}
_NO_BAND_PERCENT = 20.0
_ALIASES = {"gray": "grey", "purple": "violet"}
_COLOURS = frozenset(_EXPONENTS) | frozenset(_ALIASES)
_SEPARATORS = re.compile(r"[\s,;/–—-]+")
_LONGEST = 100
_EXAMPLE = "write for example yellow violet red gold"


@dataclass(frozen=True, slots=True)
class Resistor:
    """What the bands say: nominal resistance and tolerance either way."""

    resistance_ohm: float
    tolerance_percent: float


def parse_bands(text: str) -> Resistor:
    """Return the resistor whose 3, 4 or 5 bands are named in ``text``, first band first.

    Spaces, commas or dashes part the colours. Raises QuantityError.
    """
    colours = _parse_colours(text)
    count = 3 if len(colours) == 5 else 2
    significant, rest = colours[:count], colours[count:]
    if any(colour not in _DIGITS for colour in significant):
        _refuse(text, "gold or silver cannot be a digit", "read the bands from the other end")
    if significant[0] == "black":
        _refuse(text, "the first band is never black", "read the bands from the other end")
    number = int("".join(str(_DIGITS.index(colour)) for colour in significant))
    exponent = _EXPONENTS[rest[0]]
    resistance_ohm = number * 10.0**exponent if exponent >= 0 else number / 10.0**-exponent
    return Resistor(resistance_ohm, _find_tolerance(rest, text))


def format_bands(resistance_ohm: float, tolerance_percent: float) -> str:
    """Return the colours of a resistor, first band first.

    Raises QuantityError when there is no such tolerance, or the value needs more digits than the bands have.
    """
    tolerance = _find_tolerance_band(tolerance_percent)
    count = 3 if tolerance_percent <= 2 else 2
    if not 0.1 <= resistance_ohm < 1e12:
        _refuse(str(resistance_ohm), "no bands exist for this value", "")
    mantissa, _, power = f"{resistance_ohm:.{count - 1}e}".partition("e")
    exponent = int(power) - count + 1
    digits = mantissa.replace(".", "")
    multiplier = next((colour for colour, value in _EXPONENTS.items() if value == exponent), None)
    if multiplier is None or abs(float(f"{mantissa}e{power}") - resistance_ohm) > 1e-9 * resistance_ohm:
        shown = format_quantity(resistance_ohm, "ohm", 6)
        _refuse(str(resistance_ohm), f"{shown} ±{tolerance_percent:g} % cannot be written in {count} digits", "")
    return " ".join([*(_DIGITS[int(digit)] for digit in digits), multiplier, *tolerance])


def has_colours(text: str) -> bool:
    """Tell whether a text names at least one band colour."""
    words = _SEPARATORS.split(text[:_LONGEST].casefold())
    return any(word in _COLOURS for word in words)


def parse_resistor(text: str) -> float:
    """Return ohms from a value ("4k7", "3.9 kΩ") or from colour bands.

    Raises QuantityError; also for a negative value.
    """
    if has_colours(text):
        return parse_bands(text).resistance_ohm
    value_ohm = parse_quantity(text, "ohm")
    if value_ohm < 0:
        raise QuantityError(f"{quote(text)}: a resistor is never negative", text=text, unit="ohm")
    return value_ohm


def _parse_colours(text: str) -> list[str]:
    if len(text) > _LONGEST:
        _refuse(text, "too long for colour bands", _EXAMPLE)
    words = [word for word in _SEPARATORS.split(text.casefold()) if word]
    for word in words:
        if word not in _COLOURS:
            near = find_nearest(word, _COLOURS)
            _refuse(text, f"{quote(word)} is no band colour", f"did you mean {near!r}?" if near else _EXAMPLE)
    if len(words) == 6:
        _refuse(text, "six bands", "leave off the last one; it is the temperature coefficient")
    if not 3 <= len(words) <= 5:
        _refuse(text, f"3, 4 or 5 bands are wanted, here are {len(words)}", _EXAMPLE)
    return [_ALIASES.get(word, word) for word in words]


def _find_tolerance(rest: list[str], text: str) -> float:
    if len(rest) == 1:
        return _NO_BAND_PERCENT
    if rest[1] not in _TOLERANCES_PERCENT:
        _refuse(text, f"{rest[1]} is no tolerance band known here", "read the bands from the other end")
    return _TOLERANCES_PERCENT[rest[1]]


def _find_tolerance_band(tolerance_percent: float) -> list[str]:
    if tolerance_percent == _NO_BAND_PERCENT:
        return []
    found = [colour for colour, percent in _TOLERANCES_PERCENT.items() if percent == tolerance_percent]
    if not found:
        known = ", ".join(f"{percent:g}" for percent in sorted({*_TOLERANCES_PERCENT.values(), _NO_BAND_PERCENT}))
        _refuse(str(tolerance_percent), f"no band exists for ±{tolerance_percent:g} %", f"known are {known} %")
    return found


def _refuse(text: str, message: str, hint: str) -> NoReturn:
    raise QuantityError(f"{quote(text)}: {message}", text=text, unit="ohm", hint=hint)
