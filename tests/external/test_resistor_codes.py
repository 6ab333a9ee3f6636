"""Resistor colours and preferred values against published examples.

Sources: T. R. Kuphaldt, *Lessons In Electric Circuits*, reference volume, chapter on colour codes (worked examples);
IEC 60062 (colours); IEC 60063 (preferred values), through the independent library ``eseries``.
"""

import itertools

import pytest

from diagnostics.units import format_bands, parse_bands, parse_quantity

# Kuphaldt, reference volume: bands → ohms, percent.
KUPHALDT = {
    "yellow violet orange gold": (47_000, 5),
    "green red gold silver": (5.2, 10),
    "white violet black": (97, 20),
    "orange orange black brown violet": (3300, 0.1),
    "brown green grey silver red": (1.58, 2),
    "blue brown green silver blue": (6.15, 0.25),
}

# End-of-line values in use (common practice, no source) with the bands that IEC 60062 gives them.
END_RESISTORS = [
    ("1k", "brown black red gold", "brown black black brown brown"),
    ("2k", "red black red gold", "red black black brown brown"),
    ("2k2", "red red red gold", "red red black brown brown"),
    ("3k3", "orange orange red gold", "orange orange black brown brown"),
    ("3k9", "orange white red gold", "orange white black brown brown"),
    ("4k7", "yellow violet red gold", "yellow violet black brown brown"),
    ("5k6", "green blue red gold", "green blue black brown brown"),
    ("6k8", "blue grey red gold", "blue grey black brown brown"),
    ("10k", "brown black orange gold", "brown black black red brown"),
]


@pytest.mark.parametrize("text", sorted(KUPHALDT))
def test_bands_read_as_in_kuphaldts_examples(text: str) -> None:
    resistor = parse_bands(text)
    assert (resistor.resistance_ohm, resistor.tolerance_percent) == pytest.approx(KUPHALDT[text])


@pytest.mark.parametrize("text", sorted(KUPHALDT))
def test_values_are_banded_as_in_kuphaldts_examples(text: str) -> None:
    assert format_bands(*KUPHALDT[text]) == text


def test_blue_red_red_is_6200_ohms() -> None:
    # Kuphaldt, reference volume.
    assert parse_bands("blue red red").resistance_ohm == 6200


@pytest.mark.parametrize(("text", "four_bands", "five_bands"), END_RESISTORS)
def test_end_resistors_carry_the_bands_of_iec_60062(text: str, four_bands: str, five_bands: str) -> None:
    resistance_ohm = parse_quantity(text, "ohm")
    assert format_bands(resistance_ohm, 5) == four_bands
    assert format_bands(resistance_ohm, 1) == five_bands
    assert parse_bands(four_bands).resistance_ohm == parse_bands(five_bands).resistance_ohm == resistance_ohm


def test_third_band_tells_47_ohms_from_4k7_and_47k() -> None:
    # IEC 60062: the multiplier band is the power of ten.
    values = [parse_bands(f"yellow violet {colour} gold").resistance_ohm for colour in ("black", "red", "orange")]
    assert values == [47, 4700, 47_000]


@pytest.mark.parametrize(
    ("series", "digits", "percent"), [("E12", 2, 10), ("E24", 2, 5), ("E48", 3, 2), ("E96", 3, 1), ("E192", 3, 0.5)]
)
def test_every_preferred_value_of_iec_60063_can_be_banded(series: str, digits: int, percent: float) -> None:
    eseries = pytest.importorskip("eseries", reason="pip install eseries")
    values = [float(value) for value in eseries.series(getattr(eseries, series))]
    assert len(values) == int(series[1:])
    scale = 10 ** (digits - 1) / 10 ** int(f"{values[0]:e}".partition("e")[2])
    for value, decade in itertools.product(values, (0.1, 1, 10, 1000)):
        resistance_ohm = round(value * scale) * decade
        assert parse_bands(format_bands(resistance_ohm, percent)).resistance_ohm == pytest.approx(
            resistance_ohm, rel=1e-12
        )
