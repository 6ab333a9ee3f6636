"""How people write units, as one table: spelling → factor and the words for it.

Spellings are held without spaces. Capitals matter only where they change the meaning (m and M);
everything else is also found in any mixture of capitals.
"""

from __future__ import annotations

from dataclasses import dataclass

FOOT_M = 0.3048  # exact by the international yard and pound agreement of 1959


@dataclass(frozen=True, slots=True)
class Spelling:
    """What a written unit means: SI value = number × ``factor`` + ``offset``."""

    factor: float
    words: str
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit that texts are read in; ``plural`` and ``example`` are for messages."""

    plural: str
    example: str
    symbol: str
    exact: dict[str, Spelling]
    any_case: dict[str, Spelling]

    def find(self, spelling: str) -> Spelling | None:
        """Return the meaning of a spelling (no spaces in it), or None."""
        return self.exact.get(spelling) or self.any_case.get(spelling.casefold())


_PREFIXES = {"u": (1e-6, "micro"), "m": (1e-3, "milli"), "k": (1e3, "kilo"), "K": (1e3, "kilo"), "M": (1e6, "mega")}
_PREFIXES["G"] = (1e9, "giga")
_PREFIXES["c"] = (1e-2, "centi")


def _build_prefixed(prefixes: str, names: tuple[str, ...], plural: str, hyphen: str = "") -> dict[str, Spelling]:
    spellings = {name: Spelling(1.0, plural) for name in names}
    for prefix in prefixes:
        factor, word = _PREFIXES[prefix]
        spellings |= {prefix + name: Spelling(factor, f"{word}{hyphen}{plural}") for name in names}
    return spellings


def _build_unit(plural: str, example: str, symbol: str, exact: dict[str, Spelling]) -> Unit:
    # A milli or mega spelling must not be found under the other capital.
    any_case = {text.casefold(): spelling for text, spelling in exact.items() if spelling.factor not in (1e-3, 1e6)}
    return Unit(plural, example, symbol, exact, any_case)


def _build_volts() -> dict[str, Spelling]:
    names = ("V", "v", "volt", "volts", "VDC", "Vdc", "vdc", "V=")
    return _build_prefixed("umkK", names, "volts")


def _build_ohms() -> dict[str, Spelling]:
    spellings = _build_prefixed("mkKMG", ("Ω", "ω", "ohm", "ohms", "Ohm", "Ohms", "OHM", "OHMS"), "ohms", hyphen="-")
    spellings |= {letter: Spelling(_PREFIXES[letter][0], f"{_PREFIXES[letter][1]}-ohms") for letter in "kKMG"}
    spellings |= {text: Spelling(1.0, "ohms") for text in ("R", "r")}
    spellings |= {text: Spelling(1e3, "kilo-ohms") for text in ("kilohm", "kilohms", "kiloohm", "kiloohms", "kilo")}
    mega = (
        "meg",
        "Meg",
        "MEG",
        "megohm",
        "megohms",
        "Megohm",
        "Megohms",
        "megΩ",
        "Megω",
        "megaohm",
        "megaohms",
        "mega",
    )
    return spellings | {text: Spelling(1e6, "mega-ohms") for text in mega}


def _build_metres() -> dict[str, Spelling]:
    spellings = _build_prefixed("mck", ("m", "metre", "metres", "meter", "meters"), "metres")
    feet = ("ft", "foot", "feet", "ft.")
    return spellings | {text: Spelling(FOOT_M, "feet") for text in feet}


def _build_seconds() -> dict[str, Spelling]:
    spellings = _build_prefixed("m", ("s", "sec", "secs", "second", "seconds"), "seconds")
    spellings |= {text: Spelling(60.0, "minutes") for text in ("min", "mins", "minute", "minutes")}
    spellings |= {text: Spelling(3600.0, "hours") for text in ("h", "hr", "hrs", "hour", "hours")}
    return spellings | {text: Spelling(86400.0, "days") for text in ("d", "day", "days")}


def _build_celsius() -> dict[str, Spelling]:
    celsius = ("°C", "degC", "C", "deg.C", "degreesC", "celsius", "degreescelsius")
    fahrenheit = ("°F", "degF", "F", "deg.F", "degreesF", "fahrenheit", "degreesfahrenheit")
    spellings = {text: Spelling(1.0, "degrees Celsius") for text in celsius}
    return spellings | {text: Spelling(5 / 9, "degrees Fahrenheit", -160 / 9) for text in fahrenheit}


def _build_areas() -> dict[str, Spelling]:
    names = ("mm2", "mm^2", "sqmm", "mmsq", "sq.mm")
    return {text: Spelling(1.0, "square millimetres") for text in names}


UNITS: dict[str, Unit] = {
    "V": _build_unit("volts", "23.9 V", "V", _build_volts()),
    "A": _build_unit(
        "amperes", "4.2 mA", "A", _build_prefixed("um", ("A", "a", "amp", "amps", "ampere", "amperes"), "amperes")
    ),
    "ohm": _build_unit("ohms", "4.7 kΩ", "Ω", _build_ohms()),
    "m": _build_unit("metres", "25 m", "m", _build_metres()),
    "s": _build_unit("seconds", "200 s", "s", _build_seconds()),
    "W": _build_unit("watts", "0.5 W", "W", _build_prefixed("mkK", ("W", "w", "watt", "watts"), "watts")),
    "degC": _build_unit("degrees Celsius", "20 °C", "°C", _build_celsius()),
    "%": _build_unit("percent", "5 %", "%", {text: Spelling(1.0, "percent") for text in ("%", "percent", "pct")}),
    "mm2": _build_unit("square millimetres", "1.5 mm²", "mm²", _build_areas()),
}

# Never a unit of ours, but a person who wrote one deserves to hear what it reads as.
STRANGERS = {
    "vac": "volts AC",
    "mvac": "millivolts AC",
    "v~": "volts AC",
    "ac": "an AC reading",
    "hz": "hertz",
    "ah": "ampere-hours",
    "mah": "milliampere-hours",
    "awg": "a wire gauge",
    "va": "volt-amperes",
    "f": "farads",
    "uf": "microfarads",
    "nf": "nanofarads",
}
