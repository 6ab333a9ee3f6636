"""A value as typed, understood for its measurement: volts, ohms, ``OL``, or one of its words."""

import re

from diagnostics.errors import QuantityError, find_nearest
from diagnostics.units import parse_quantity
from diagnostics.wiring import Loop

from .measurement import COUNTED, LISTED, Measurement, list_tokens, list_walked
from .walks import write_dark_set

# Words that people use for the same thing.
_FINE = {"ok": "as_it_should_be", "fine": "as_it_should_be"}
_STATE = {"fault": "trouble", "ok": "normal"}
_EARTH = {
    "ok": "right", "fine": "right", "normal": "right", "earth": "earth_trouble", "ground": "earth_trouble",
    "earth_fault": "earth_trouble", "ground_fault": "earth_trouble", "ground_trouble": "earth_trouble",
    "trouble": "earth_trouble", "fault": "earth_trouble",
}  # fmt: skip
_CLEARS = {"yes": "right", "clears": "right", "no": "earth_trouble", "stays": "earth_trouble"}
_SAME = {
    "lamp": {
        "on": "lit", "blinks": "lit", "blinking": "lit", "flashes": "lit", "off": "dark",
        "red": "alarm", "steady": "alarm",
    },
    "functional_test": {
        "reports": "reports_and_clears", "passes": "reports_and_clears", "silent": "no_report", "nothing": "no_report",
    },
    "supply_lamps": {
        "ok": "right", "fine": "right", "normal": "right", "none": "right",
        "mains": "mains_trouble", "mains_fault": "mains_trouble",
        "battery": "battery_trouble", "battery_fault": "battery_trouble",
    },
    "earth_lamp": _EARTH,
    "earth_lifted": _EARTH | _CLEARS,
    "earth_opened": _EARTH | _CLEARS,
    "overnight": {
        "same": "steady", "nothing": "steady", "no": "steady", "dipped": "fell", "lower": "fell", "higher": "rose",
        "both": "swung",
    },
    "ac_volts": {"no": "no_ac", "none": "no_ac", "yes": "ac_there"},
    "event_log": _EARTH | {"trouble": "trouble_only", "fault": "trouble_only", "none": "nothing", "empty": "nothing"},
    "look": _FINE | {"nothing": "as_it_should_be"},
    "settings": _FINE | {"wrong": "setting_wrong"},
    "panel_shows": _STATE | {"quiet": "normal"},
    "head_off": _STATE | {"nothing": "normal"},
    "known_resistor": _STATE,
    "heads_swapped": {
        "stays": "this_place", "here": "this_place", "no": "this_place",
        "moves": "other_place", "follows": "other_place", "there": "other_place", "yes": "other_place",
        "both": "both_places", "gone": "neither_place", "neither": "neither_place", "none": "neither_place",
    },
}  # fmt: skip


def parse_value(measurement: Measurement, loop: Loop, text: str) -> float | str:
    """Return what was read: volts or ohms (``math.inf`` for ``OL``), or a word of this measurement.

    Raises
    ------
    QuantityError
        Not a value of this measurement; the hint says what it can be.
    """
    if measurement.kind == "ohms":
        return parse_ohms(text)
    if measurement.unit:
        return parse_quantity(text, measurement.unit)
    plain = re.sub(r"[\s-]+", "_", text.strip().lower())
    if measurement.kind in LISTED:
        return _parse_dark(measurement, loop, text)
    plain = {"none": "0"}.get(plain, plain) if measurement.kind in COUNTED else plain
    tokens = list_tokens(measurement, loop)
    plain = _SAME.get(measurement.kind, {}).get(plain, plain)
    if plain in tokens:
        return plain
    near = find_nearest(plain, tokens)
    hint = f"did you mean {near!r}?" if near else f"choose one of {', '.join(tokens)}"
    raise QuantityError(f"{text[:60]!r} is no answer to {measurement.kind}", text=text, unit="a word", hint=hint)


def parse_ohms(text: str) -> float:
    """Read ohms; below zero they mean that the meter was fed from outside (common practice, no source)."""
    value = parse_quantity(text, "ohm", over=True)
    if value < 0:
        hint = "prove 0 V on the pair first, then take the ohms again"
        raise QuantityError("ohms below zero: there are volts on what was measured", text=text, unit="ohm", hint=hint)
    return value


def _parse_dark(measurement: Measurement, loop: Loop, text: str) -> str:
    """Read *which others are dark*: ``none``, or detectors separated by commas or spaces."""
    names = [n for n in re.split(r"[\s,;]+", text.strip().lower()) if n and n != "and"]
    if names in ([], ["none"]):
        if not names:
            raise QuantityError(
                "nothing was given", text=text, unit="a word", hint="write none, or for example det4,det5"
            )
        return "none"
    known = {d.name for d in list_walked(measurement, loop)} - {measurement.at}
    wrong = [n for n in names if n not in known]
    if wrong:
        near = find_nearest(wrong[0], known)
        hint = f"did you mean {near!r}?" if near else "write none, or for example det4,det5"
        raise QuantityError(f"{wrong[0][:40]!r} is no other detector of this loop", text=text, unit="a word", hint=hint)
    return write_dark_set(sorted(set(names)))
