"""Likelihoods are densities: over all that a meter can show they add up to one."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.readings import Forecast, Measurement, list_measurements, read_table
from diagnostics.reasoning.likelihood import WIDEST_V, rate_reading
from tests.reasoning.draw import prepare_bench
from tests.wiring.quick import STYLES

METER = read_table().meter
VOLTS = Measurement("volts", red="panel.zone1+", black="panel.zone1-")
OHMS = Measurement("ohms", red="panel.zone1+", black="panel.zone1-")
Array = NDArray[np.float64]


def integrate_volts(told: Forecast, spread: Array) -> Array:
    """Return the integral of the likelihood over volts, (hypothesis,); steps are fine where meters are."""
    fine = np.sinh(np.linspace(-math.asinh(WIDEST_V * 1e4), math.asinh(WIDEST_V * 1e4), 12_001)) / 1e4
    grid = np.unique(np.concatenate([fine, np.linspace(-WIDEST_V, WIDEST_V, 12_001)]))
    zero = np.zeros_like(spread)
    rated = np.array([rate_reading(told, float(v), zero, spread, METER).likelihood for v in grid])
    whole: Array = np.trapezoid(rated, grid, axis=0)
    return whole


def integrate_ohms(told: Forecast, spread: Array) -> Array:
    """Return the integral over the logarithm of ohms up to the range, and over-range."""
    grid = np.linspace(math.log(0.1), math.log(METER.ohms_over), 8001)
    zero = np.zeros_like(spread)
    rated = np.array([rate_reading(told, math.exp(x), zero, spread, METER).likelihood for x in grid])
    whole: Array = np.trapezoid(rated, grid, axis=0)
    return whole + rate_reading(told, math.inf, zero, spread, METER).likelihood


def forecast_plain(measurement: Measurement, mean: list[float]) -> Forecast:
    return Forecast(measurement, mean=np.array(mean), slopes=np.zeros((1, len(mean))))


def test_likelihood_of_volts_adds_up_to_one() -> None:
    mean, spread = [0.0, 0.02, 0.5, 5.0, 19.1, -19.1, 23.9], np.array([0.0, 0.0, 0.1, 0.2, 0.4, 0.4, 0.48])
    assert integrate_volts(forecast_plain(VOLTS, mean), spread) == pytest.approx(np.ones(7), abs=0.01)


def test_likelihood_of_ohms_and_over_range_adds_up_to_one() -> None:
    mean = [2.0, 470.0, 4700.0, 1e5, 3e6, 40e6, 60e6, 80e6, 1e12]
    spread = 0.1 * np.array(mean)
    assert integrate_ohms(forecast_plain(OHMS, mean), spread) == pytest.approx(np.ones(9), abs=0.01)


@pytest.mark.parametrize("style", STYLES)
def test_likelihood_of_every_word_adds_up_to_one(style: str) -> None:
    bench = prepare_bench(style, 3)
    zero = np.zeros(len(bench.hypotheses))
    for told in bench.forecast_all(list_measurements(bench.loop)):
        if told.chance is not None:
            fits = [rate_reading(told, token, zero, zero, METER) for token in told.tokens]
            assert np.sum([f.likelihood for f in fits], axis=0) == pytest.approx(np.ones_like(zero))
            assert sum(f.not_modelled for f in fits) == pytest.approx(1.0)


@pytest.mark.parametrize("style", STYLES)
def test_volts_of_real_forecasts_add_up_to_one(style: str) -> None:
    bench = prepare_bench(style, 3)
    told = next(f for f in bench.forecast_all(list_measurements(bench.loop)) if f.measurement.unit == "V")
    assert integrate_volts(told, told.spread) == pytest.approx(np.ones(len(bench.hypotheses)), abs=0.01)


def test_reading_off_by_a_prefix_or_with_turned_leads_stays_possible() -> None:
    told, spread = forecast_plain(VOLTS, [19.1]), np.array([0.4])
    zero = np.zeros(1)
    anything = rate_reading(told, 40.0, zero, spread, METER).likelihood[0]
    for slip in (0.0191, -19.1, 0.0):
        assert rate_reading(told, slip, zero, spread, METER).likelihood[0] > 5 * anything
        assert rate_reading(told, slip, zero, spread, METER).sound[0] < 1e-6
    assert rate_reading(told, 19.1, zero, spread, METER).sound[0] > 0.99


def test_an_open_pair_may_read_less_than_over_range_and_a_closed_one_not() -> None:
    """Heads and old insulation pass a little: 800 kΩ for *OL* fits, 30 kΩ for *OL* or for a sound 4.7 kΩ does not."""
    told, zero = forecast_plain(OHMS, [4700.0, 1e12]), np.zeros(2)
    spread = np.array([100.0, 0.0])
    closed, opened = rate_reading(told, 8e5, zero, spread, METER).tail
    assert closed < 1e-6
    assert opened > 0.01
    assert np.max(rate_reading(told, 3e4, zero, spread, METER).tail) < 1e-3
    assert rate_reading(told, math.inf, zero, spread, METER).tail[1] > 0.5
    assert rate_reading(told, 8e5, zero, spread, METER).sound[1] < 1e-6  # nothing is learnt of the unknowns


def test_tail_is_the_chance_of_a_reading_at_least_as_far_off() -> None:
    told, zero = forecast_plain(VOLTS, [19.1]), np.zeros(1)
    sd = 0.4
    table = read_table()
    of_meter_v, stray_v = table.own_share * (0.005 * 19.1 + 0.02) / 2, table.stray_v
    spread = np.array([math.sqrt(sd**2 - of_meter_v**2 - stray_v**2)])
    for away, tail in ((0.0, 1.0), (1.959964, 0.05), (3.290527, 0.001)):
        assert rate_reading(told, 19.1 + away * sd, zero, spread, METER).tail[0] == pytest.approx(tail, rel=1e-4)


@pytest.mark.parametrize("value", ["lit", 3.0])
def test_word_for_a_number_and_number_for_a_word_are_refused(value: float | str) -> None:
    words = Forecast(Measurement("lamp", at="det1"), tokens=("lit", "dark"), chance=np.full((1, 2), 0.5))
    told = forecast_plain(VOLTS, [1.0]) if isinstance(value, str) else words
    with pytest.raises(TypeError):
        rate_reading(told, value, np.zeros(1), np.zeros(1), METER)


def test_word_that_is_no_outcome_is_refused() -> None:
    words = Forecast(Measurement("lamp", at="det1"), tokens=("lit", "dark"), chance=np.full((1, 2), 0.5))
    with pytest.raises(ValueError, match="blue"):
        rate_reading(words, "blue", np.zeros(1), np.zeros(1), METER)
