"""Copper wire against published tables.

Sources: IEC 60028 and NBS Circular 31 / Handbook 100 (annealed copper); ASTM B258 (AWG diameters); the wire table of
Floyd, *Electric Circuit Fundamentals*, 2nd ed., as reprinted by HyperPhysics (Georgia State University); NEC
(NFPA 70) chapter 9, table 8; IEC 60228, tables A.1 and A.2, as reprinted by cable makers. Values from memory say so.
"""

import math

import pytest

from diagnostics.units import (
    COPPER_RESISTIVITY_20C_OHM_M,
    TEMPERATURE_COEFFICIENT_20C,
    copper_resistance_ohm_per_m,
    parse_gauge,
)

# Floyd: AWG → (diameter in inches, circular mils, ohms per 1000 ft at 20 °C).
FLOYD = {
    12: (0.0808, 6529.0, 1.588),
    14: (0.06408, 4106.8, 2.525),
    16: (0.05082, 2582.9, 4.016),
    18: (0.0403, 1624.3, 6.385),
    20: (0.03196, 1021.5, 10.15),
    22: (0.02535, 642.4, 16.14),
    24: (0.0201, 404.01, 25.67),
}

# NEC table 8, solid uncoated copper, ohms per 1000 ft at 75 °C; 16 and 18 AWG are from memory.
NEC_75C = {12: 1.93, 14: 3.07, 16: 4.89, 18: 7.77}

# IEC 60228 tables A.1 and A.2, plain annealed copper: mm² → largest ohms per km at 20 °C.
IEC_60228 = {"0.5": 36.0, "0.75": 24.5, "1.0": 18.1, "1.5": 12.1, "2.5": 7.41, "4": 4.61}


def test_copper_is_that_of_iec_60028() -> None:
    # 1.7241 microhm centimetre and 0.00393 per kelvin, as the Industrial Power Engineering Handbook quotes them.
    assert pytest.approx(1.7241e-8, rel=1e-4) == COPPER_RESISTIVITY_20C_OHM_M
    assert TEMPERATURE_COEFFICIENT_20C == 0.00393


@pytest.mark.parametrize("number", sorted(FLOYD))
def test_gauge_has_the_diameter_of_the_printed_table(number: int) -> None:
    diameter_in = math.sqrt(4 / math.pi * parse_gauge(f"{number} AWG").area_mm2) / 25.4
    assert diameter_in == pytest.approx(FLOYD[number][0], abs=6e-5)


@pytest.mark.parametrize("number", sorted(FLOYD))
def test_gauge_has_the_circular_mils_of_the_printed_table(number: int) -> None:
    circular_mils = 4 / math.pi * parse_gauge(f"{number} AWG").area_mm2 / 25.4**2 * 1e6
    assert circular_mils == pytest.approx(FLOYD[number][1], rel=3e-4)


@pytest.mark.parametrize("number", sorted(FLOYD))
def test_gauge_has_the_resistance_of_the_printed_table(number: int) -> None:
    ohm_per_kft = parse_gauge(f"{number} AWG").resistance_20c_ohm_per_m * 304.8
    assert ohm_per_kft == pytest.approx(FLOYD[number][2], rel=5e-4)


@pytest.mark.parametrize("number", sorted(NEC_75C))
def test_copper_at_75_degrees_is_within_half_a_percent_of_the_nec_table(number: int) -> None:
    ohm_per_kft = copper_resistance_ohm_per_m(parse_gauge(f"{number} AWG").area_mm2, 75) * 304.8
    assert ohm_per_kft == pytest.approx(NEC_75C[number], rel=5e-3)


def test_cold_copper_has_about_82_percent_of_the_nec_resistance() -> None:
    # NEC chapter 9, table 8, note 2: 0.00323 per kelvin from 75 °C.
    ratio = copper_resistance_ohm_per_m(1.0, 20) / copper_resistance_ohm_per_m(1.0, 75)
    assert ratio == pytest.approx(1 + 0.00323 * (20 - 75), rel=1e-3)


def test_18_gauge_has_20_95_ohms_a_kilometre() -> None:
    # ASTM B258 diameter with IEC 60028 copper.
    assert parse_gauge("18 AWG").resistance_20c_ohm_per_m == pytest.approx(20.95e-3, rel=1e-3)


def test_three_gauges_double_the_resistance_and_ten_make_it_tenfold() -> None:
    # The rule of thumb of the NBS wire tables, from memory; the formula of ASTM B258 gives 2.005 and 10.16.
    base = parse_gauge("14 AWG").resistance_20c_ohm_per_m
    assert parse_gauge("17 AWG").resistance_20c_ohm_per_m / base == pytest.approx(2, rel=0.01)
    assert parse_gauge("24 AWG").resistance_20c_ohm_per_m / base == pytest.approx(10, rel=0.02)


def test_mil_foot_of_copper_has_10_37_ohms() -> None:
    # 10.37 ohm circular mil per foot at 20 °C: common in American handbooks; figure from memory.
    circular_mil_mm2 = math.pi / 4 * 0.0254**2
    assert copper_resistance_ohm_per_m(circular_mil_mm2) * 0.3048 == pytest.approx(10.37, abs=0.005)


@pytest.mark.parametrize("area", sorted(IEC_60228))
def test_metric_wire_carries_the_maximum_of_iec_60228(area: str) -> None:
    assert parse_gauge(f"{area} mm²").max_20c_ohm_per_m == pytest.approx(IEC_60228[area] / 1000, rel=1e-12)


@pytest.mark.parametrize("area", sorted(IEC_60228))
def test_nominal_copper_lies_a_few_percent_below_the_iec_60228_maximum(area: str) -> None:
    # The ratios worked out from the table run from 1.044 (0.5 mm²) to 1.074 (2.5 mm²).
    ratio = IEC_60228[area] / 1000 / parse_gauge(f"{area} mm²").resistance_20c_ohm_per_m
    assert 1.04 < ratio < 1.08


@pytest.mark.parametrize(("temperature_c", "factor"), [(5, 1.064), (25, 0.980), (50, 0.893), (75, 0.820)])
def test_temperature_agrees_with_the_factors_of_iec_60228(temperature_c: float, factor: float) -> None:
    # IEC 60228 brings a measured value back to 20 °C with 0.004 per kelvin, so the two differ by up to 0.4 %.
    ratio = copper_resistance_ohm_per_m(1.0, 20) / copper_resistance_ohm_per_m(1.0, temperature_c)
    assert ratio == pytest.approx(factor, rel=4e-3)
