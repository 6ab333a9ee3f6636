"""A wire size is read from what is printed on the cable, and never guessed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.errors import QuantityError
from diagnostics.units import copper_resistance_ohm_per_m, parse_gauge


@pytest.mark.parametrize(
    "text",
    [
        "18 AWG",
        "18AWG",
        "18awg",
        "AWG 18",
        "awg18",
        "AWG #18",
        "#18",
        "18 ga",
        "  18  AWG ",
        "18/2",
        "18-2",
        "18/4 AWG",
    ],
)
def test_every_way_to_write_a_gauge_is_the_same_wire(text: str) -> None:
    assert parse_gauge(text) == parse_gauge("18 AWG")
    assert parse_gauge(text).name == "18 AWG"


@pytest.mark.parametrize("text", ["1.5 mm²", "1.5mm2", "1,5 mm2", "1.5 mm^2", "1.5 sq mm", "1.5 MM2"])
def test_every_way_to_write_an_area_is_the_same_wire(text: str) -> None:
    assert parse_gauge(text) == parse_gauge("1.5 mm²")
    assert parse_gauge(text).area_mm2 == 1.5


def test_one_square_millimetre_is_named_as_the_trade_prints_it() -> None:
    assert parse_gauge("1 mm2").name == "1.0 mm²"


@pytest.mark.parametrize(
    "text", ["18", "1.5", "", "1.5 mm", "41 AWG", "100 awg", "0 mm²", "500 mm²", "-1 mm²", "18 V", "AWG", "1,500 mm2"]
)
def test_size_that_may_mean_something_else_is_refused(text: str) -> None:
    with pytest.raises(QuantityError):
        parse_gauge(text)


def test_bare_number_is_told_both_ways_to_write_it() -> None:
    with pytest.raises(QuantityError, match=r"18 AWG or 1\.5 mm²"):
        parse_gauge("18")


def test_gauges_have_no_standard_maximum_and_odd_areas_neither() -> None:
    assert parse_gauge("18 AWG").max_20c_ohm_per_m is None
    assert parse_gauge("0.8 mm²").max_20c_ohm_per_m is None


@given(number=st.integers(0, 39))
def test_higher_gauge_is_thinner_and_resists_more(number: int) -> None:
    thick, thin = parse_gauge(f"{number} AWG"), parse_gauge(f"{number + 1} AWG")
    assert thick.area_mm2 > thin.area_mm2
    assert thick.resistance_20c_ohm_per_m < thin.resistance_20c_ohm_per_m


@given(area_mm2=st.floats(0.05, 100), cooler_c=st.floats(-40, 79), step_c=st.floats(0.1, 40))
def test_warm_copper_resists_more(area_mm2: float, cooler_c: float, step_c: float) -> None:
    cooler = copper_resistance_ohm_per_m(area_mm2, cooler_c)
    assert copper_resistance_ohm_per_m(area_mm2, cooler_c + step_c) > cooler > 0


@given(text=st.text(max_size=70))
def test_any_text_is_a_wire_or_a_quantity_error(text: str) -> None:
    try:
        gauge = parse_gauge(text)
    except QuantityError:
        return
    assert gauge.resistance_20c_ohm_per_m == copper_resistance_ohm_per_m(gauge.area_mm2)
