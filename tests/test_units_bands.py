"""Colour bands are read as they stand on the resistor, and slips are caught."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.errors import QuantityError
from diagnostics.units import Resistor, format_bands, parse_bands, parse_resistor

LOOSE_PERCENT = st.sampled_from([5.0, 10.0, 20.0])
TIGHT_PERCENT = st.sampled_from([2.0, 1.0, 0.5, 0.25, 0.1])


@pytest.mark.parametrize(
    "text",
    [
        "yellow violet red gold",
        "Yellow-Violet-Red-Gold",
        "yellow, violet, red, gold",
        "yellow purple red gold",
        "yellow – violet – red – gold",
    ],
)
def test_every_way_to_name_the_bands_is_the_same_resistor(text: str) -> None:
    assert parse_bands(text) == Resistor(4700.0, 5.0)


def test_grey_has_two_spellings() -> None:
    assert parse_bands("gray red brown gold") == parse_bands("grey red brown gold")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("gold red violet yellow", "other end"),
        ("black violet yellow gold", "other end"),
        ("yellow violet red white", "other end"),
        ("yelow violet red gold", "did you mean 'yellow'?"),
        ("yellow violet", "yellow violet red gold"),
        ("red " * 40, "yellow violet red gold"),
        ("brown black black red brown red", "leave off the last one"),
    ],
)
def test_slip_with_the_bands_is_refused_with_a_way_out(text: str, hint: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_bands(text)
    assert hint in caught.value.hint


@pytest.mark.parametrize("rare", ["orange", "yellow", "grey"])
def test_tolerance_colours_that_are_not_confirmed_are_refused_not_guessed(rare: str) -> None:
    with pytest.raises(QuantityError, match="no tolerance band known here"):
        parse_bands(f"brown black black brown {rare}")


@given(digits=st.integers(10, 99), exponent=st.integers(-2, 9), tolerance_percent=LOOSE_PERCENT)
def test_two_digit_bands_read_back(digits: int, exponent: int, tolerance_percent: float) -> None:
    resistance_ohm = float(f"{digits}e{exponent}")
    assert parse_bands(format_bands(resistance_ohm, tolerance_percent)) == Resistor(resistance_ohm, tolerance_percent)


@given(digits=st.integers(100, 999), exponent=st.integers(-2, 9), tolerance_percent=TIGHT_PERCENT)
def test_three_digit_bands_read_back(digits: int, exponent: int, tolerance_percent: float) -> None:
    resistance_ohm = float(f"{digits}e{exponent}")
    assert parse_bands(format_bands(resistance_ohm, tolerance_percent)) == Resistor(resistance_ohm, tolerance_percent)


@pytest.mark.parametrize(
    ("resistance_ohm", "tolerance_percent"),
    [(4750, 5), (0, 5), (1e13, 1), (-10, 5), (4700, 3), (0.5, 1), (float("nan"), 5)],
)
def test_value_without_bands_is_refused(resistance_ohm: float, tolerance_percent: float) -> None:
    with pytest.raises(QuantityError):
        format_bands(resistance_ohm, tolerance_percent)


@pytest.mark.parametrize("text", ["4k7", "4.7 kΩ", "4700", "yellow violet red gold", "yellow violet black brown brown"])
def test_resistor_is_read_from_digits_or_from_colours(text: str) -> None:
    assert parse_resistor(text) == 4700


@pytest.mark.parametrize("text", ["-5", "−4k7", "OL", "yellow", "5 V"])
def test_what_is_no_resistor_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_resistor(text)


@given(
    text=st.text(max_size=120)
    | st.lists(st.sampled_from(["red", "black", "gold", "grey", "tan", "-", "4k7"]), max_size=8).map(" ".join)
)
def test_any_text_is_a_resistor_or_a_quantity_error(text: str) -> None:
    try:
        value_ohm = parse_resistor(text)
    except QuantityError:
        return
    assert value_ohm >= 0
