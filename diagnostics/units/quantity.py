"""Read and write quantities as people do: 2k, 5k6, 3.9 kΩ, "2,5 V", 40 ft, OL.

Rules that a reader of the result should know:

* A bare number is in the base unit: volts, amperes, ohms, metres, seconds, watts, °C, percent, mm².
* A point is always a decimal point. A comma is a decimal comma, except that "1,234" (one comma, three
  digits behind it, something other than zero in front) may mean a thousand, and is refused.
* Where both stand, the last one is the decimal sign and the others must part groups of three.
* m is milli and M is mega; nothing guesses between them.
* OL (the meter is over range) is read only where the caller expects it, and is infinity.
"""

from __future__ import annotations

import math
import re
import unicodedata
from typing import TYPE_CHECKING, Final, NoReturn

from diagnostics.errors import QuantityError, quote
from diagnostics.units.spellings import FOOT_M, STRANGERS, UNITS, Spelling

if TYPE_CHECKING:
    from collections.abc import Sequence

OVER: Final = math.inf
_WHOLE: Final = 1e-6  # how near to a whole number a length has to be that was given as one

_LONGEST = 60  # characters: any quantity fits, and a pasted page does not
LARGEST: Final = 1e15  # no unit here has an honest value beyond; guards the solver as well
SMALLEST: Final = 1e-15

_LOOKALIKES = str.maketrans(
    {
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
        "\t": " ",
        "−": "-",
        "–": "-",
        "µ": "u",
        "μ": "u",
        "\u2126": "Ω",
        "º": "°",
    }
    | {"²": "2", "’": "'"}
)
_NUMBER = re.compile(r"([+-]?) ?(\d+(?:[.,]\d+)*[.,]?|[.,]\d+)(?:[eE]([+-]?\d{1,4})(?![\d.,]))? ?(.*)", re.ASCII)
_LETTER_AS_POINT = re.compile(r"([+-]?)(\d*)([kKMGRrVv])(\d+) ?(?:Ω|[oO]hms?)?", re.ASCII)
_OVER = re.compile(r"[o0][. ]?l\.?|\.[o0]l|over|over ?load|over ?range|open|open circuit|∞", re.IGNORECASE)
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*", re.ASCII)

# unit → steps (from, divisor, symbol), largest first; the last one takes whatever is smaller.
_STEPS: dict[str, tuple[tuple[float, float, str], ...]] = {
    "V": ((0.1, 1.0, "V"), (1e-4, 1e-3, "mV"), (0.0, 1e-6, "µV")),
    "A": ((1.0, 1.0, "A"), (1e-4, 1e-3, "mA"), (0.0, 1e-6, "µA")),
    "ohm": ((1e9, 1e9, "GΩ"), (1e6, 1e6, "MΩ"), (1e3, 1e3, "kΩ"), (1e-2, 1.0, "Ω"), (0.0, 1e-3, "mΩ")),
    "m": ((0.0, 1.0, "m"),),
    "s": ((7200.0, 3600.0, "h"), (600.0, 60.0, "min"), (1.0, 1.0, "s"), (0.0, 1e-3, "ms")),
    "W": ((0.1, 1.0, "W"), (0.0, 1e-3, "mW")),
    "degC": ((0.0, 1.0, "°C"),),
    "%": ((0.0, 1.0, "%"),),
    "mm2": ((0.0, 1.0, "mm²"),),
}


def parse_quantity(text: str, unit: str, *, over: bool = False) -> float:
    """Return the value of ``text`` in the SI unit ``unit``.

    ``unit`` is one of V, A, ohm, m, s, W, degC, % (a percent number, not a fraction) and mm2. With ``over`` the
    meter's OL is read too, as ``OVER``. Raises QuantityError, which says what was understood and what is wanted.
    """
    cleaned = _clean(text, unit)
    if _find_over(cleaned, unit):
        return OVER if over else _refuse_over(text, unit)
    letter = _LETTER_AS_POINT.fullmatch(cleaned)
    if letter:
        return _build_value(*_split_letter(letter, text, unit), text, unit)
    number = _NUMBER.fullmatch(cleaned)
    if not number:
        _refuse_text(text, unit)
    sign, digits, exponent, suffix = number.groups()
    spelling = _find_spelling(suffix, text, unit)
    return _build_value(f"{sign}{_parse_digits(digits, text, unit)}e{exponent or 0}", spelling, text, unit)


def format_quantity(value: float | None, unit: str, digits: int = 3) -> str:
    """Return ``value`` (SI) as a person writes it, to ``digits`` significant digits: "4.70 kΩ", "19.8 V", "OL".

    Ohms keep their trailing zeros, as meters show them; other units drop them. None and NaN are "not known".
    """
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "OL" if value > 0 else "−OL"
    rounded = float(f"{value:.{digits - 1}e}")
    _, divisor, symbol = next(step for step in _STEPS[unit] if abs(rounded) >= step[0])
    if rounded == 0:
        return f"0 {UNITS[unit].symbol}"
    number = _format_fixed(rounded / divisor, digits, keep_zeros=unit == "ohm")
    return f"{number} {symbol}".replace("-", "−")


def is_in_feet(length_m: float) -> bool:
    """Return whether a length was given in feet: whole or half feet, and neither whole nor half metres."""
    feet, metres = 2 * length_m / FOOT_M, 2 * length_m
    return abs(feet - round(feet)) < _WHOLE and abs(metres - round(metres)) >= _WHOLE


def write_feet(length_m: float) -> str:
    """Return a length that was given in feet as it is typed, "40 ft"; empty for another, or if it reads otherwise."""
    text = f"{_count_feet(length_m)} ft" if is_in_feet(length_m) else ""
    return text if text and parse_quantity(text, "m") == length_m else ""


def _count_feet(length_m: float) -> str:
    return f"{length_m / FOOT_M:.1f}".removesuffix(".0")


def format_length(length_m: float, *, feet_first: bool | None = None) -> str:
    """Return a length both ways, that in which it was given first: "12 m (39 ft)", "40 ft (12.2 m)".

    Feet are whole, but below one and where a half was given. ``feet_first`` decides for a length that nobody gave.
    """
    given = is_in_feet(length_m)
    feet = length_m / FOOT_M
    number = _count_feet(length_m) if given or feet < 1 else f"{feet:.0f}"
    both = f"{number} ft", format_quantity(length_m, "m")
    first, second = both if (given if feet_first is None else feet_first) else reversed(both)
    return f"{first} ({second})"


def format_ends(values: Sequence[float], unit: str, digits: int = 3) -> tuple[str, ...]:
    """Return several values of one range in one unit, that of the largest: "0.036 V" beside "0.118 V".

    What is over range is "OL".
    """
    sizes = [abs(float(f"{v:.{digits - 1}e}")) for v in values if math.isfinite(v)]
    _, divisor, symbol = next(step for step in _STEPS[unit] if max(sizes, default=0.0) >= step[0])
    return tuple(_format_end(v, unit, digits, divisor, symbol) for v in values)


def _format_end(value: float, unit: str, digits: int, divisor: float, symbol: str) -> str:
    if not math.isfinite(value):
        return format_quantity(value, unit, digits)
    number = _format_fixed(value / divisor, digits, keep_zeros=unit == "ohm") if value else "0"
    return f"{number} {symbol}".replace("-", "−")


def _format_fixed(value: float, digits: int, *, keep_zeros: bool) -> str:
    exponent = int(f"{value:.{digits - 1}e}".partition("e")[2])
    decimals = max(0, digits - 1 - exponent)
    number = f"{value:.{decimals}f}"
    return number.rstrip("0").rstrip(".") if decimals and not keep_zeros else number


def _clean(text: str, unit: str) -> str:
    if len(text) > _LONGEST:
        raise QuantityError(
            f"{quote(text)} is too long for a quantity",
            text=text,
            unit=unit,
            hint=f"write for example {UNITS[unit].example}",
        )
    cleaned = " ".join(text.translate(_LOOKALIKES).split(" ")).strip()
    cleaned = re.sub(" +", " ", cleaned)
    if not cleaned:
        raise QuantityError(
            f"{UNITS[unit].plural} are wanted, but nothing is written", text=text, unit=unit, hint=_hint(unit)
        )
    if any(not char.isascii() and unicodedata.category(char).startswith("N") for char in cleaned):
        raise QuantityError(
            f"{quote(text)} has digits of another script", text=text, unit=unit, hint="write the digits 0 to 9"
        )
    return cleaned


def _hint(unit: str) -> str:
    return f"write for example {UNITS[unit].example}"


def _find_over(cleaned: str, unit: str) -> bool:
    if _OVER.fullmatch(cleaned):
        return True
    head, _, tail = cleaned.partition(" ")
    return bool(tail and _OVER.fullmatch(head) and UNITS[unit].find(tail.replace(" ", "")))


def _refuse_over(text: str, unit: str) -> NoReturn:
    message = f"{quote(text)} says that the meter was over range; {UNITS[unit].plural} are wanted"
    raise QuantityError(message, text=text, unit=unit, hint=_hint(unit))


def _refuse_text(text: str, unit: str) -> NoReturn:
    message = f"{quote(text)} does not read as {UNITS[unit].plural}"
    hint = _hint(unit)
    if text.strip(" +-−").casefold() in {"inf", "infinity", "infinite", "∞", "open"}:
        hint = "write OL where the meter shows over range" if unit == "ohm" else hint
    raise QuantityError(message, text=text, unit=unit, hint=hint)


def _split_letter(match: re.Match[str], text: str, unit: str) -> tuple[str, Spelling]:
    # 5k6, 4R7, 2M2 and R47 as IEC 60062 prints them on resistors; 3V3 in the same manner.
    sign, whole, letter, fraction = match.groups()
    spelling = _find_spelling("R" if letter == "r" else letter, text, unit)
    return f"{sign}{whole or 0}.{fraction}", spelling


def _find_spelling(suffix: str, text: str, unit: str) -> Spelling:
    compact = suffix.replace(" ", "")
    if not compact:
        return Spelling(1.0, UNITS[unit].plural)
    found = UNITS[unit].find(compact)
    return found or _refuse_suffix(compact, text, unit)


def _refuse_suffix(suffix: str, text: str, unit: str) -> NoReturn:
    wanted = f"{UNITS[unit].plural} are wanted"
    meaning = _find_meaning(suffix)
    if meaning:
        message = f"{quote(text)} reads as {meaning}; {wanted}, for example {UNITS[unit].example}"
        raise QuantityError(message, text=text, unit=unit, hint=_find_prefix_hint(suffix, unit))
    if suffix[0].isdigit():
        raise QuantityError(
            f"{quote(text)} has a gap between digits", text=text, unit=unit, hint="write the digits together"
        )
    message = f"{quote(text)} does not read as {UNITS[unit].plural}"
    raise QuantityError(message, text=text, unit=unit, hint=_find_prefix_hint(suffix, unit) or _hint(unit))


def _find_meaning(suffix: str) -> str:
    for other in UNITS.values():
        if suffix in other.exact:
            return other.exact[suffix].words
    found = next(filter(None, (other.find(suffix) for other in UNITS.values())), None)
    return found.words if found else STRANGERS.get(suffix.casefold(), "")


def _find_prefix_hint(suffix: str, unit: str) -> str:
    if suffix == "m" and unit == "ohm":
        return "mega is a capital M, milli is mΩ"
    if suffix == "m" and unit == "s":
        return "minutes are min"
    if suffix == "m" and unit in {"V", "A", "W"}:
        return f"write the unit too: m{unit}"
    swapped = suffix[0].swapcase() + suffix[1:]
    if suffix[0] in "mM" and swapped in UNITS[unit].exact:
        return f"m is milli and M is mega; did you mean {swapped}?"
    return ""


def _parse_digits(digits: str, text: str, unit: str) -> str:
    """Return the digits with one point at most."""
    signs = [char for char in digits if char in ".,"]
    if len(set(signs)) == 2:
        return _parse_grouped(digits, signs[-1], text, unit)
    if len(signs) > 1:
        return _drop_groups(digits, text, unit)
    lead, _, tail = digits.partition(",")
    if signs == [","] and len(tail) == 3 and len(lead) <= 3 and lead.strip("0"):
        message = f"{quote(text)} can mean {lead}.{tail} or {lead}{tail}"
        raise QuantityError(message, text=text, unit=unit, hint=f"write {lead}.{tail} or {lead}{tail}")
    return digits.replace(",", ".")


def _parse_grouped(digits: str, decimal: str, text: str, unit: str) -> str:
    whole, _, fraction = digits.rpartition(decimal)
    if decimal in whole:
        _refuse_commas(text, unit)
    return f"{_drop_groups(whole, text, unit)}.{fraction}"


def _drop_groups(digits: str, text: str, unit: str) -> str:
    if not _THOUSANDS.fullmatch(digits):
        _refuse_commas(text, unit)
    return digits.replace(",", "").replace(".", "")


def _refuse_commas(text: str, unit: str) -> NoReturn:
    raise QuantityError(f"{quote(text)} has points or commas in odd places", text=text, unit=unit, hint=_hint(unit))


def _build_value(number: str, spelling: Spelling, text: str, unit: str) -> float:
    plain = float(number)
    value = plain * spelling.factor + spelling.offset
    if not abs(value) <= LARGEST:
        raise QuantityError(f"{quote(text)} is too large", text=text, unit=unit, hint=_hint(unit))
    vanished = plain == 0 and any(char in "123456789" for char in number.partition("e")[0])
    if vanished or 0 < abs(value) < SMALLEST:
        raise QuantityError(f"{quote(text)} is too small", text=text, unit=unit, hint=_hint(unit))
    return value + 0.0  # turns −0.0 into 0.0


def format_short(resistance_ohm: float) -> str:
    """Return a resistance without unit, as a fault or a mode carries it: ``300``, ``5.6k``, ``1M``."""
    for factor, prefix in ((1e6, "M"), (1e3, "k")):
        if resistance_ohm >= factor:
            return f"{resistance_ohm / factor:.6g}{prefix}"
    return f"{resistance_ohm:.6g}"
