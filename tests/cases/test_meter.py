"""A meter is understood as its instructions print it, and a slip is not swallowed."""

import pytest

from diagnostics.cases import METER_KEYS, parse_meter
from diagnostics.errors import QuantityError
from diagnostics.readings import read_table


@pytest.mark.parametrize(
    ("text", "percent", "digits"),
    [
        ("0.5 % + 2", 0.5, 2),
        ("±(0.9% + 2 digits)", 0.9, 2),
        ("+/- 1,2%+3 counts", 1.2, 3),
        ("1 %", 1, 0),
        ("0 % + 5", 0, 5),
    ],
)
def test_accuracy_is_percent_of_reading_and_digits(text: str, percent: float, digits: float) -> None:
    meter = parse_meter({"volts": text, "ohms": text})
    assert (meter.volts_percent, meter.volts_digits) == (percent, digits)
    assert (meter.ohms_percent, meter.ohms_digits) == (percent, digits)


def test_what_is_not_said_is_as_in_the_table() -> None:
    assert parse_meter({}) == read_table().meter
    meter = parse_meter({"counts": "4 000", "input_ohm": "11M", "ohms_test_v": "0.6 V"})
    assert (meter.counts, meter.input_ohm, meter.ohms_test_v) == (4000, 11e6, 0.6)
    assert meter.ohms_percent == read_table().meter.ohms_percent


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("volts", ""),
        ("volts", "0.5 + 2"),
        ("volts", "0 % + 0"),
        ("volts", "0 %"),
        ("volts", "50 % + 2"),
        ("volts", "0.5 % + 5000"),
        ("volts", "0.5 % + 2.5"),
        ("volts", "0.5 V + 2"),
        ("counts", "6k"),
        ("counts", "6"),
        ("counts", "-6000"),
        ("counts", "６０００"),
        ("input_ohm", "10"),
        ("input_ohm", "10 V"),
        ("ohms_over", "OL"),
        ("volt", "0.5 % + 2"),
    ],
)
def test_slip_in_a_meter_is_refused_with_a_hint(key: str, text: str) -> None:
    with pytest.raises(QuantityError) as raised:
        parse_meter({key: text})
    assert raised.value.hint or "for example" in raised.value.message


def test_every_key_sets_something() -> None:
    texts = {"volts": "3 % + 7", "ohms": "4 % + 8", "counts": "2000", "ohms_test_v": "2.5 V"}
    for key in METER_KEYS:
        assert parse_meter({key: texts.get(key, "5 MΩ")}) != read_table().meter
