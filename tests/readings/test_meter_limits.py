"""The hand meter: limits of error, display steps, over-range.

Outside world: worked examples of "± (percent of reading + digits)" as articles on the accuracy of digital multimeters
print them (100.0 V at 1 % + 2 is 98.8 V to 101.2 V, and so on; one article misprints 99.8 V for the lower end).
Rows marked *derived* are the same rule by hand. Ranges of a 2000- and a 6000-count meter: from memory.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.readings import Meter, find_limit, find_sd, find_step, read_table, show_value
from diagnostics.readings.meter import Unit
from diagnostics.units import OVER


def build_meter(counts: int, percent: float, digits: float) -> Meter:
    accuracy = {"volts_percent": percent, "volts_digits": digits, "ohms_percent": percent, "ohms_digits": digits}
    return read_table().meter.model_copy(update={"counts": counts, **accuracy})


PLAIN = build_meter(6000, 0.5, 2)


@pytest.mark.parametrize(
    ("value", "unit", "spec", "step", "limit"),
    [
        (100.0, "V", (2000, 1.0, 2), 0.1, 1.2),
        (2.000, "V", (2000, 0.5, 3), 0.001, 0.013),
        (2.000, "V", (2000, 0.08, 2), 0.001, 0.0036),
        (120.0, "V", (2000, 1.0, 3), 0.1, 1.5),
        (5.02, "V", (2000, 2.0, 3), 0.01, 0.1304),
        (19.80, "V", (6000, 0.5, 2), 0.01, 0.119),  # derived
        (4710.0, "ohm", (2000, 0.8, 2), 10.0, 57.68),  # derived: 4.71 kΩ
        (4710.0, "ohm", (6000, 0.9, 2), 1.0, 44.39),  # derived: 4.710 kΩ
    ],
)  # fmt: skip
def test_limit_is_percent_of_reading_and_digits_of_the_range(
    value: float, unit: Unit, spec: tuple[int, float, int], step: float, limit: float
) -> None:
    meter = build_meter(*spec)
    assert float(find_step(value, unit, meter)) == pytest.approx(step)
    assert float(find_limit(value, unit, meter)) == pytest.approx(limit)
    stray_v = read_table().stray_v if unit == "V" else 0.0
    assert float(find_sd(value, unit, meter)) == pytest.approx(math.hypot(limit / 2, stray_v))


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (0.0, "V", 0.0),
        (0.0004, "V", 0.0),
        (0.0006, "V", 0.001),
        (5.9994, "V", 5.999),
        (6.004, "V", 6.0),
        (23.9976, "V", 24.0),
        (19.7926, "V", 19.79),
        (-19.7926, "V", -19.79),
        (230.06, "V", 230.1),
        (0.04, "ohm", 0.0),
        (4.19, "ohm", 4.2),
        (599.96, "ohm", 600.0),
        (4704.19, "ohm", 4704.0),
        (10_004.2, "ohm", 10_000.0),
        (375_123.0, "ohm", 375_100.0),
        (5.996e6, "ohm", 5.996e6),
        (59.994e6, "ohm", 59.99e6),
    ],
)
def test_display_rounds_to_its_step(value: float, unit: Unit, shown: float) -> None:
    assert show_value(value, unit, PLAIN) == pytest.approx(shown, abs=1e-9)


@pytest.mark.parametrize("ohm", [60.001e6, 1e9, math.inf])
def test_above_its_range_the_meter_shows_over(ohm: float) -> None:
    assert show_value(ohm, "ohm", PLAIN) == OVER


def test_over_range_is_that_of_the_meter_in_hand() -> None:
    small = PLAIN.model_copy(update={"ohms_over": 2e6})
    assert show_value(1.9e6, "ohm", small) == pytest.approx(1.9e6)
    assert show_value(2.1e6, "ohm", small) == OVER


@given(st.floats(-900, 900), st.sampled_from([2000, 4000, 6000, 20_000]))
def test_what_is_shown_is_within_half_a_step_and_turned_leads_turn_the_sign(volts: float, counts: int) -> None:
    meter = build_meter(counts, 0.5, 2)
    shown = show_value(volts, "V", meter)
    assert abs(shown - volts) <= float(find_step(volts, "V", meter)) / 2 + 1e-9
    assert show_value(-volts, "V", meter) == -shown


@given(st.floats(0, 5e7), st.floats(0, 5e7))
def test_larger_reading_never_has_a_smaller_limit(one: float, other: float) -> None:
    small, large = sorted((one, other))
    assert float(find_limit(small, "ohm", PLAIN)) <= float(find_limit(large, "ohm", PLAIN))


def test_better_meter_has_the_smaller_limit() -> None:
    assert float(find_limit(20.0, "V", build_meter(20_000, 0.05, 3))) < float(find_limit(20.0, "V", PLAIN))
