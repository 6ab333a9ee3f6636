"""Bands and values that a branch can ask for."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.errors import QuantityError
from diagnostics.trees import Between, Sound, find_limits, list_words, parse_condition

ZONE = (("short", -math.inf, 2.0), ("alarm", 2.0, 9.0), ("in_between", 9.0, 14.0), ("normal", 14.0, 21.5),
        ("open", 21.5, math.inf))  # fmt: skip
HEALTHY = st.floats(0.0, 60.0)
SPREAD = st.floats(0.001, 3.0)


@pytest.mark.parametrize(
    ("text", "kind", "wanted"),
    [
        ("open", "volts", "open"), ("In between", "volts", "in_between"), ("far ones", "which_dark", "far_ones"),
        ("setting-wrong", "settings", "setting_wrong"), ("below 1 V", "volts", Between(-math.inf, 1.0, "V")),
        ("above 4k7", "ohms", Between(4700.0, math.inf, "ohm")),
        ("above 3,3 kΩ", "ohms", Between(3300.0, math.inf, "ohm")), ("200 mV to 1 V", "volts", Between(0.2, 1.0, "V")),
    ],
)  # fmt: skip
def test_condition_is_read_as_people_write_it(text: str, kind: str, wanted: object) -> None:
    assert parse_condition(text, kind) == wanted


@pytest.mark.parametrize(
    ("text", "kind", "hint"),
    [
        ("opne", "volts", "did you mean 'open'"), ("below 1 A", "volts", ""), ("below 1 kΩ", "volts", ""),
        ("3 V to 1 V", "volts", "write 1 V to 3 V"), ("above 23", "volts", "write above 23 V"),
        ("above 2e1", "volts", "write above 2e1 V"),
        ("1 to 3 V", "volts", "write 1 V to 3 V"), ("1 V to 3", "volts", "write 1 V to 3 V"),
        ("Below -2,5", "volts", "write Below -2,5 V"), ("above 4.7", "ohms", "write above 4.7 Ω, or kΩ"),
        ("3300 to 4k7", "ohms", "write 3300 Ω to 4k7, or kΩ"),
        ("lit", "panel_shows", "known are"), ("", "lamp", "known are"),
    ],
)  # fmt: skip
def test_condition_that_cannot_be_says_what_can(text: str, kind: str, hint: str) -> None:
    with pytest.raises(QuantityError) as error:
        parse_condition(text, kind)
    assert hint in error.value.hint


@given(HEALTHY, SPREAD, st.floats(-60.0, 60.0))
def test_every_voltage_lies_in_exactly_one_band(healthy_v: float, sd_v: float, value_v: float) -> None:
    sound = Sound(healthy_v, sd_v)
    held = [w for w in ("minus", "dead", "low", "right", "high") if find_limits(w, sound, "V").holds(value_v)]
    assert len(held) == 1


@given(st.floats(1.0, 1e6), st.floats(0.1, 1e5), st.one_of(st.just(math.inf), st.floats(0.0, 6e7)))
def test_every_resistance_lies_in_exactly_one_band(healthy_ohm: float, sd_ohm: float, value_ohm: float) -> None:
    sound = Sound(healthy_ohm, sd_ohm)
    held = [w for w in list_words("ohms") if find_limits(w, sound, "ohm").holds(value_ohm)]
    assert len(held) == 1


@given(st.floats(2.0, 60.0), st.floats(0.001, 0.1))
def test_sound_reading_is_right(healthy: float, sd: float) -> None:
    assert find_limits("right", Sound(healthy, sd), "V").holds(healthy)
    assert find_limits("right", Sound(1000 * healthy, sd), "ohm").holds(1000 * healthy)


def test_nothing_is_right_where_a_sound_loop_shows_nothing() -> None:
    pulse = Sound(0.0, 0.02)
    assert find_limits("right", pulse, "V").holds(0.0)
    assert not find_limits("right", pulse, "V").holds(24.0)
    assert find_limits("high", pulse, "V").holds(24.0)


def test_window_of_the_panel_decides_on_a_zone_and_nothing_elsewhere() -> None:
    assert find_limits("alarm", Sound(19.0, 0.3, ZONE), "V") == Between(2.0, 9.0, "V")
    assert not find_limits("alarm", Sound(24.0, 0.3), "V").holds(5.0)


def test_over_range_is_open() -> None:
    assert find_limits("open", Sound(4700.0, 60.0), "ohm").holds(math.inf)
    assert not find_limits("high", Sound(4700.0, 60.0), "ohm").holds(math.inf)
