"""A hand meter in a case's words: ``volts: "0.5 % + 2"`` is percent of reading and digits."""

import re
from collections.abc import Callable, Mapping
from typing import Final

from diagnostics.errors import QuantityError, find_nearest, quote
from diagnostics.readings import Meter, read_table
from diagnostics.units import parse_quantity

_ACCURACY = re.compile(
    r"(?:±|\+/?-)?\s*\(?\s*(\d{1,3}(?:[.,]\d{1,4})?)\s*%(?:\s*\+\s*(\d{1,4})(?:\s*(?:digits?|counts?))?)?\s*\)?",
    re.ASCII,
)
_MOST_PERCENT = 20.0
_MOST_DIGITS = 1000
# Bounds of what a person can hold in a hand; invented, wide on purpose: they only catch a wrong unit.
_COUNTS = (1_000, 10_000_000)
_BOUNDS: Final[dict[str, tuple[str, float, float]]] = {
    "input_ohm": ("ohm", 1e3, 1e12),
    "ohms_over": ("ohm", 1e3, 1e12),
    "ohms_source_ohm": ("ohm", 1.0, 1e9),
    "ohms_test_v": ("V", 0.01, 20.0),
}
METER_KEYS: Final = ("volts", "ohms", "counts", *_BOUNDS)
_ACCURACY_HINT = "write for example 0.5 % + 2"


def parse_meter(texts: Mapping[str, str]) -> Meter:
    """Return the meter: what is not said is as in the table of measurements.

    ``volts`` and ``ohms`` are accuracies, ``counts`` a whole number, the others quantities. Raises QuantityError.
    """
    changes: dict[str, float] = {}
    for key, text in texts.items():
        changes |= parse_meter_entry(key, text)
    return read_table().meter.model_copy(update=changes)


def parse_meter_entry(key: str, text: str) -> dict[str, float]:
    """Return the fields of ``Meter`` that one entry sets. Raises QuantityError."""
    if key not in METER_KEYS:
        near = find_nearest(key, METER_KEYS)
        hint = f"did you mean {quote(near)}?" if near else f"known are {', '.join(METER_KEYS)}"
        raise QuantityError(f"a meter has no {quote(key)}", text=key, hint=hint)
    if key in _BOUNDS:
        return {key: _parse_bounded(key, text)}
    parse: Callable[[str, str], dict[str, float]] = _parse_counts if key == "counts" else _parse_accuracy
    return parse(key, text)


def _parse_accuracy(key: str, text: str) -> dict[str, float]:
    found = _ACCURACY.fullmatch(text.strip()[:60])
    if not found:
        message = f"{quote(text)} is no accuracy of a meter"
        raise QuantityError(message, text=text, unit="%", hint=_ACCURACY_HINT)
    percent, digits = float(found[1].replace(",", ".")), int(found[2] or 0)
    if not percent + digits > 0 or percent > _MOST_PERCENT or digits > _MOST_DIGITS:
        message = f"{quote(text)} is no accuracy that a meter can have"
        raise QuantityError(message, text=text, unit="%", hint=_ACCURACY_HINT)
    return {f"{key}_percent": percent, f"{key}_digits": float(digits)}


def _parse_counts(key: str, text: str) -> dict[str, float]:
    plain = text.strip().replace(" ", "")
    if not re.fullmatch(r"\d{1,9}", plain, re.ASCII) or not _COUNTS[0] <= int(plain) <= _COUNTS[1]:
        message = f"{key}: {quote(text)} is no number of display counts"
        raise QuantityError(message, text=text, hint="write for example 6000")
    return {"counts": int(plain)}


def _parse_bounded(key: str, text: str) -> float:
    unit, low, high = _BOUNDS[key]
    value = parse_quantity(text, unit)
    if not low <= value <= high:
        message = f"{key}: {quote(text)} is beyond any hand meter"
        raise QuantityError(message, text=text, unit=unit, hint=f"between {low:g} and {high:g} {unit}")
    return value
