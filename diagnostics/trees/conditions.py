"""What a branch may ask of an answer: a word, a band that the loop model computes, or values with a unit."""

import itertools
import math
import re
from dataclasses import dataclass

from diagnostics.errors import QuantityError, find_nearest
from diagnostics.readings import COUNTED, LISTED, Measurement, list_kind_words, read_table
from diagnostics.units import parse_quantity

# Bands beside what this loop shows when it is sound; those of a zone's own window come from the panel's profile.
VOLTS_BANDS = ("minus", "dead", "low", "right", "high")
OHMS_BANDS = ("shorted", "low", "right", "high", "open")
ZONE_BANDS = ("short", "alarm", "in_between", "normal", "open")
LISTS = ("none", "all", "far_ones", "some")
WIRING = (
    "module", "zone_loop", "two_wire", "four_wire", "contacts", "class_a", "end_relay", "reset_relay", "co_zone",
    "reset_from_panel",
)  # fmt: skip
# A reading counts as *right* within so many standard deviations of spread and meter together, or this share.
RIGHT_SDS = 3.0
RIGHT_SHARE = 0.03
DEAD_SHARE = 0.05
OPEN_TIMES = 8.0


@dataclass(frozen=True, slots=True)
class Between:
    """A value from ``low`` up to, not including, ``high``, in SI units of ``unit``."""

    low: float
    high: float
    unit: str

    def holds(self, value: float) -> bool:
        """Return whether a value lies inside; ``math.inf`` (OL) does where nothing bounds it above."""
        return self.low <= value and (value < self.high or self.high == math.inf)


Condition = str | Between


@dataclass(frozen=True, slots=True)
class Sound:
    """What a measurement shows on this loop when nothing is wrong (V or Ω), and one sd, the meter's own included.

    ``zone_bands`` are (name, low, high) of the zone or module pair that is metered; empty elsewhere.
    """

    value: float
    sd: float
    zone_bands: tuple[tuple[str, float, float], ...] = ()


def list_words(kind: str) -> tuple[str, ...]:
    """Return every word that a branch of this kind of measurement can name; ``known`` and ``ask`` are no kinds."""
    if kind == "volts":
        return (*VOLTS_BANDS, *ZONE_BANDS)
    if kind == "ohms":
        return OHMS_BANDS
    return LISTS if kind in {*LISTED, *COUNTED} else list_kind_words(kind)


def parse_condition(text: str, kind: str) -> Condition:
    """Return a condition on an answer to a kind of measurement.

    Raises
    ------
    QuantityError
        It is neither one of the words nor a value in the unit of this measurement.
    """
    plain = re.sub(r"[\s-]+", "_", text.strip().lower())
    words = list_words(kind)
    if plain in words:
        return plain
    if kind in {"volts", "ohms"}:
        value = _parse_between(text.strip(), "V" if kind == "volts" else "ohm")
        if value is not None:
            return value
    near = find_nearest(plain, words)
    hint = f"did you mean {near!r}?" if near else f"known are {', '.join(words)}"
    if kind in {"volts", "ohms"} and not near:
        hint += ", below 1 V, 1 V to 3 V, above 3 V" if kind == "volts" else ", below 1 kΩ, 1 kΩ to 3 kΩ, above 3 kΩ"
    raise QuantityError(f"{text[:60]!r} is no answer to {kind}", text=text, hint=hint)


def _parse_between(text: str, unit: str) -> Between | None:
    for pattern, side in ((r"(below)\s+(.+)", "high"), (r"(above|from)\s+(.+)", "low")):
        found = re.fullmatch(pattern, text, re.IGNORECASE)
        if found:
            _check_units(text, unit, found[1], found[2])
            value = parse_quantity(found[2], unit)
            return Between(-math.inf, value, unit) if side == "high" else Between(value, math.inf, unit)
    found = re.fullmatch(r"(.+?)\s+to\s+(.+)", text, re.IGNORECASE)
    if not found:
        return None
    _check_units(text, unit, found[1], "to", found[2])
    low, high = parse_quantity(found[1], unit), parse_quantity(found[2], unit)
    if low >= high:
        raise QuantityError("the lower value comes first", text=text, hint=f"write {found[2]} to {found[1]}")
    return Between(low, high, unit)


def _check_units(text: str, unit: str, *words: str) -> None:
    """Refuse a value without a unit: whoever reads the guide must not have to guess which one was meant.

    Ohms may be written as they are printed on a resistor, 4k7.
    """
    bare = [word for word in words if re.fullmatch(r"[+−-]?[\d.,\s]+(?:[eE][+-]?\d+)?", word)]
    if not bare:
        return
    symbols = [f"{word} {'V' if unit == 'V' else 'Ω'}" if word in bare else word for word in words]
    hint = f"write {' '.join(symbols)}" + (", or kΩ, whichever is meant" if unit == "ohm" else "")
    raise QuantityError(f"{text[:60]!r} has no unit at {bare[0].strip()}", text=text, unit=unit, hint=hint)


def find_limits(condition: Condition, sound: Sound, unit: str) -> Between:
    """Return between which values (V or Ω) a numeric condition holds on this loop."""
    if isinstance(condition, Between):
        return condition
    for name, low, high in sound.zone_bands:
        if condition == name:
            return Between(low, high, "V")
    bands = _list_volts_bands(sound) if unit == "V" else _list_ohms_bands(sound)
    return bands.get(condition, Between(math.inf, -math.inf, unit))


def _list_volts_bands(sound: Sound) -> dict[str, Between]:
    dead_v = max(10 * read_table().ghost.dead_v, DEAD_SHARE * abs(sound.value))
    low_v, high_v = _find_right(sound)
    if sound.value < dead_v:  # nothing is to be read here when all is sound
        edges = [-math.inf, -dead_v, -dead_v, -dead_v, dead_v, math.inf]
    else:
        low_v = max(low_v, dead_v)
        edges = [-math.inf, -dead_v, dead_v, low_v, max(high_v, low_v), math.inf]
    limits = [Between(a, b, "V") for a, b in itertools.pairwise(edges)]
    return dict(zip(VOLTS_BANDS, limits, strict=True))


def _list_ohms_bands(sound: Sound) -> dict[str, Between]:
    low_ohm, high_ohm = _find_right(sound)
    short_ohm, open_ohm = DEAD_SHARE * sound.value, OPEN_TIMES * sound.value
    edges = [-math.inf, min(short_ohm, low_ohm), low_ohm, high_ohm, max(open_ohm, high_ohm), math.inf]
    limits = [Between(a, b, "ohm") for a, b in itertools.pairwise(edges)]
    return dict(zip(OHMS_BANDS, limits, strict=True))


def _find_right(sound: Sound) -> tuple[float, float]:
    margin = max(RIGHT_SDS * sound.sd, RIGHT_SHARE * abs(sound.value))
    return sound.value - margin, sound.value + margin


def is_met(condition: Condition, measurement: Measurement, value: float | str, others: tuple[str, ...]) -> bool:
    """Return whether an answer in words meets a condition; ``others`` are the detectors that a list can name."""
    if not isinstance(value, str) or not isinstance(condition, str):
        return False
    if measurement.kind in COUNTED:
        return condition in _describe_count(int(value), len(others))
    if measurement.kind not in LISTED:
        return value == condition
    named = () if value == "none" else tuple(value.split(","))
    return condition in _describe_list(named, others)


def _describe_count(number: int, of: int) -> set[str]:
    """Return every word that fits a number of detectors; where some are dark, they are taken to be the far ones."""
    return {"none"} if not number else {"all"} if number == of else {"some", "far_ones"}


def _describe_list(named: tuple[str, ...], others: tuple[str, ...]) -> set[str]:
    """Return every word that fits a list of detectors; ``far_ones`` are all from one on to the end, but not all."""
    if not named:
        return {"none"}
    if len(named) == len(others):
        return {"all"}
    return {"some", "far_ones"} if named == others[-len(named) :] else {"some"}
