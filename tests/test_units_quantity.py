"""What people write as a quantity is read right, or refused with words that help."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from diagnostics.errors import DiagnosticsError, QuantityError
from diagnostics.units import OVER, UNITS, format_length, format_quantity, parse_quantity

UNIT_NAMES = st.sampled_from(sorted(UNITS))
MAGNITUDES = st.floats(min_value=1e-11, max_value=1e11)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2k", "ohm", 2000),
        ("5k6", "ohm", 5600),
        ("4R7", "ohm", 4.7),
        ("R47", "ohm", 0.47),
        ("2M2", "ohm", 2.2e6),
        ("4K7", "ohm", 4700),
        ("3.9 kΩ", "ohm", 3900),
        ("3.9 k\u2126", "ohm", 3900),
        ("3.9kohm", "ohm", 3900),
        ("3.9 k ohms", "ohm", 3900),
        ("10M", "ohm", 10e6),
        ("10 meg", "ohm", 10e6),
        ("470", "ohm", 470),
        ("470 Ohm", "ohm", 470),
        ("5 mΩ", "ohm", 0.005),
        ("5 MΩ", "ohm", 5e6),
        ("2,5 V", "V", 2.5),
        ("23.9", "V", 23.9),
        ("23.9V", "V", 23.9),
        ("23.9 VDC", "V", 23.9),
        ("-0.02 V", "V", -0.02),
        ("−5 V", "V", -5),
        ("+5", "V", 5),
        ("5\u00a0V", "V", 5),
        ("5\u202fV", "V", 5),
        ("  5  V  ", "V", 5),
        ("120 mV", "V", 0.12),
        (".5 V", "V", 0.5),
        (",5 V", "V", 0.5),
        ("5. V", "V", 5),
        ("3V3", "V", 3.3),
        ("1.5e-3", "V", 0.0015),
        ("0.1 mA", "A", 1e-4),
        ("150 uA", "A", 150e-6),
        ("150 µA", "A", 150e-6),
        ("150 μA", "A", 150e-6),
        ("0.5 amps", "A", 0.5),
        ("12 m", "m", 12),
        ("12 metres", "m", 12),
        ("40 ft", "m", 12.192),
        ("40 feet", "m", 12.192),
        ("1.2 km", "m", 1200),
        ("200 s", "s", 200),
        ("200 Sec", "s", 200),
        ("2 min", "s", 120),
        ("24 h", "s", 86400),
        ("1 day", "s", 86400),
        ("500 ms", "s", 0.5),
        ("0.5 W", "W", 0.5),
        ("250 mW", "W", 0.25),
        ("20 °C", "degC", 20),
        ("-5", "degC", -5),
        ("68 °F", "degC", 20),
        ("5 %", "%", 5),
        ("1,5 mm²", "mm2", 1.5),
        ("1.5 mm2", "mm2", 1.5),
    ],
)
def test_reads_what_people_write(text: str, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["OL", "ol", "O.L", "O.L.", "0L", "0.L", "o l", "over", "Overload", "open", "∞", "OL kΩ", "0.L MΩ"]
)
def test_over_range_is_infinity_where_it_is_expected(text: str) -> None:
    assert parse_quantity(text, "ohm", over=True) == OVER == math.inf


@pytest.mark.parametrize("text", ["OL", "0.L MΩ"])
def test_over_range_is_refused_where_a_value_is_needed(text: str) -> None:
    with pytest.raises(QuantityError, match="over range; ohms are wanted"):
        parse_quantity(text, "ohm")


def test_over_range_in_another_unit_is_refused() -> None:
    with pytest.raises(QuantityError, match="does not read as volts"):
        parse_quantity("OL kΩ", "V", over=True)


@pytest.mark.parametrize(
    ("text", "value"),
    [("1,234.5", 1234.5), ("1.234,5", 1234.5), ("1,234,567", 1234567), ("1.234.567", 1234567), ("1.234", 1.234)],
)
def test_thousands_are_read_where_they_can_mean_nothing_else(text: str, value: float) -> None:
    assert parse_quantity(text, "V") == value


@pytest.mark.parametrize(
    ("text", "value"), [("0,234", 0.234), ("1,23", 1.23), ("1,2345", 1.2345), ("1234,567", 1234.567)]
)
def test_comma_that_cannot_part_thousands_is_a_decimal_comma(text: str, value: float) -> None:
    assert parse_quantity(text, "V") == value


@pytest.mark.parametrize("text", ["1,234", "-1,234 V", "23,900 kΩ", "123,456"])
def test_comma_that_may_part_thousands_is_refused_with_both_readings(text: str) -> None:
    unit = "ohm" if "Ω" in text else "V"
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, unit)
    lead, tail = text.removesuffix(" V").removesuffix(" kΩ").lstrip("-").split(",")
    assert caught.value.hint == f"write {lead}.{tail} or {lead}{tail}"


@pytest.mark.parametrize("text", ["1.2.3", "1,23,456", "1,234.5,6", "0,234,567", "1.23,4.5", "1..2"])
def test_points_and_commas_in_odd_places_are_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(text, "V")


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("5 k", "V", "'5 k' reads as kilo-ohms; volts are wanted, for example 23.9 V"),
        ("24 V", "ohm", "'24 V' reads as volts; ohms are wanted"),
        ("5 m", "ohm", "mega is a capital M, milli is mΩ"),
        ("5 m", "V", "write the unit too: mV"),
        ("5 m", "s", "minutes are min"),
        ("5 MA", "A", "did you mean mA?"),
        ("24 VAC", "V", "reads as volts AC"),
        ("18 AWG", "mm2", "reads as a wire gauge"),
        ("1.5 mm", "mm2", "reads as millimetres"),
        ("4 700", "ohm", "write the digits together"),
        ("inf", "ohm", "write OL where the meter shows over range"),
        ("5 bananas", "V", "does not read as volts"),
        ("", "V", "nothing is written"),
        ("   ", "V", "nothing is written"),
    ],
)
def test_refusal_says_what_was_understood_and_what_is_wanted(text: str, unit: str, words: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, unit)
    assert words in str(caught.value)
    assert (caught.value.text, caught.value.unit) == (text, unit)


@pytest.mark.parametrize(
    "text",
    [
        "nan",
        "NaN",
        "inf",
        "-inf",
        "infinity",
        "1e400",
        "-1e400",
        "1e16",
        "1e-400",
        "1e-20",
        "0x10",
        "1_000",
        "--5",
        "5 V V",
    ],
)
def test_what_is_no_honest_reading_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(text, "V")


@pytest.mark.parametrize("text", ["１２ V", "٣ V", "१२", "½ V", "5³"])
def test_digits_of_another_script_are_refused_kindly(text: str) -> None:
    with pytest.raises(QuantityError, match="write the digits 0 to 9"):
        parse_quantity(text, "V")


def test_very_long_text_is_refused_and_not_repeated_in_full() -> None:
    with pytest.raises(QuantityError) as caught:
        parse_quantity("9" * 100_000, "V")
    assert len(str(caught.value)) < 120


def test_minus_zero_is_zero() -> None:
    assert math.copysign(1, parse_quantity("-0.0 V", "V")) == 1


def test_quantity_error_is_caught_as_a_value_error_and_as_ours() -> None:
    assert issubclass(QuantityError, ValueError)
    assert issubclass(QuantityError, DiagnosticsError)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (19.7926, "V", "19.8 V"),
        (24.0, "V", "24 V"),
        (-0.71, "V", "−0.71 V"),
        (0.0502, "V", "50.2 mV"),
        (-2e-5, "V", "−20 µV"),
        (4700, "ohm", "4.70 kΩ"),
        (999.6, "ohm", "1.00 kΩ"),
        (0.5237, "ohm", "0.524 Ω"),
        (10e6, "ohm", "10.0 MΩ"),
        (0, "ohm", "0 Ω"),
        (math.inf, "ohm", "OL"),
        (-math.inf, "V", "−OL"),
        (1e-4, "A", "0.1 mA"),
        (0.0042074, "A", "4.21 mA"),
        (25, "m", "25 m"),
        (200, "s", "200 s"),
        (86400, "s", "24 h"),
        (-5, "degC", "−5 °C"),
        (1.5, "mm2", "1.5 mm²"),
        (None, "V", "not known"),
        (math.nan, "V", "not known"),
    ],
)
def test_writes_as_a_person_would(value: float | None, unit: str, text: str) -> None:
    assert format_quantity(value, unit) == text


@given(value=MAGNITUDES, negative=st.booleans(), unit=UNIT_NAMES, digits=st.integers(1, 9))
def test_what_is_written_reads_back_to_the_digits_shown(value: float, negative: bool, unit: str, digits: int) -> None:  # noqa: FBT001
    signed = -value if negative else value
    read = parse_quantity(format_quantity(signed, unit, digits), unit)
    assert read == pytest.approx(signed, rel=0.5001 * 10 ** (1 - digits))


@given(value=MAGNITUDES, unit=UNIT_NAMES, digits=st.integers(1, 9))
def test_writing_settles_at_once(value: float, unit: str, digits: int) -> None:
    shown = format_quantity(value, unit, digits)
    assert format_quantity(parse_quantity(shown, unit), unit, digits) == shown


@given(value=st.floats(min_value=0.001, max_value=999_999), places=st.integers(0, 5))
def test_decimal_comma_and_point_agree_unless_the_comma_is_refused(value: float, places: int) -> None:
    text = f"{value:.{places}f}"
    assume(places != 3 or value < 0.9995)
    assert parse_quantity(text.replace(".", ","), "V") == parse_quantity(text, "V")


@given(
    text=st.text(max_size=70) | st.from_regex(r"[+-]?[0-9.,]{1,12} ?[a-zA-ZΩµ%°²]{0,4}", fullmatch=True),
    unit=UNIT_NAMES,
)
def test_any_text_is_a_finite_number_or_a_quantity_error(text: str, unit: str) -> None:
    try:
        outcome: float | str = parse_quantity(text, unit)
    except QuantityError as error:
        outcome = str(error)
    if isinstance(outcome, str):
        assert outcome
        assert outcome.isprintable() or "\u00a0" in outcome
    else:
        assert math.isfinite(outcome)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("40 ft", "40 ft (12.2 m)"), ("12.5 ft", "12.5 ft (3.81 m)"), ("0.5 ft", "0.5 ft (0.152 m)"),
        ("50 ft", "50 ft (15.2 m)"), ("12 m", "12 m (39 ft)"), ("12.2 m", "12.2 m (40 ft)"),
        ("0.15 m", "0.15 m (0.5 ft)"), ("72 m", "72 m (236 ft)"), ("7.6 m", "7.6 m (25 ft)"),
    ],
)  # fmt: skip
def test_lengths_are_told_as_they_were_typed_and_in_the_other_unit(typed: str, told: str) -> None:
    """A foot is 0.3048 m exactly (international yard and pound agreement of 1959)."""
    assert format_length(parse_quantity(typed, "m")) == told


@given(number=st.integers(1, 999), unit=st.sampled_from(["m", "ft"]))
def test_whole_lengths_stand_first_in_the_unit_they_were_typed_in(number: int, unit: str) -> None:
    length_m = parse_quantity(f"{number} {unit}", "m")
    if unit == "ft" and number % 625 == 0:  # 625 ft are 190.5 m: nobody can tell
        return
    assert format_length(length_m).startswith(f"{number} {unit} (")


def test_length_that_nobody_typed_follows_the_others() -> None:
    assert format_length(40.0, feet_first=True) == "131 ft (40 m)"
    assert format_length(12.192, feet_first=False) == "12.2 m (40 ft)"
