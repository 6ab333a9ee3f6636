"""How a loop was left tells what a change since means, and nothing else."""

import numpy as np
import pytest

from diagnostics.readings import Bench, Measurement, find_lifted_mode
from diagnostics.reasoning import Question, Taken, build_prior, diagnose, list_hypotheses
from diagnostics.reasoning.baseline import tell_baseline
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site

VOLTS = Measurement("volts", red="panel.zone1+", black="panel.zone1-")


@pytest.fixture(scope="module")
def bench() -> Bench:
    """Return a two-wire loop of eight."""
    loop = build_loop(build_quick_site(QuickDescription("two_wire_zone", "8", end_resistor="4k7"))[0])
    return Bench(loop, list_hypotheses(loop))


def find_ohms(bench: Bench) -> Measurement:
    """Return ohms of the lifted pair."""
    return Measurement("ohms", find_lifted_mode(bench.loop), red="panel.zone1+", black="panel.zone1-")


def test_empty_baseline_changes_nothing(bench: Bench) -> None:
    prior = build_prior(bench, ())
    assert tell_baseline(prior, bench, ()) is prior


def test_baseline_moves_and_narrows_what_is_expected_and_leaves_probabilities_alone(bench: Bench) -> None:
    prior = build_prior(bench, ())
    (forecast,) = bench.forecast_all([VOLTS])
    assert forecast.mean is not None
    as_left_v = float(forecast.mean[0]) + 0.5
    told = tell_baseline(prior, bench, [Taken(VOLTS, as_left_v)])
    assert np.array_equal(told.probability, prior.probability)
    shift, spread = told.expect(forecast)
    _, before = prior.expect(forecast)
    assert 0.4 < shift[0] <= 0.5
    assert spread[0] < before[0] / 2
    assert np.array_equal(told.open[:, -1, -1], prior.open[:, -1, -1])  # the fault's own value is as open as before


def test_same_reading_means_a_change_where_the_baseline_was_another(bench: Bench) -> None:
    # One sd below what the description says is nothing by itself; below how the loop was left it is a change.
    (forecast,) = bench.forecast_all([VOLTS])
    assert forecast.mean is not None
    now_v = float(forecast.mean[0] - forecast.spread[0])
    left_v = float(forecast.mean[0] + forecast.spread[0])
    taken = (Taken(VOLTS, now_v),)

    def find_healthy(question: Question) -> float:
        return next(c.probability for c in diagnose(bench, question).candidates if not c.faults)

    bare = find_healthy(Question(taken=taken))
    same = find_healthy(Question(taken=taken, baseline=(Taken(VOLTS, now_v),)))
    changed = find_healthy(Question(taken=taken, baseline=(Taken(VOLTS, left_v),)))
    assert changed < 0.5 * bare
    assert same > bare


def test_reading_that_no_sound_loop_gives_is_no_baseline(bench: Bench) -> None:
    prior = build_prior(bench, ())
    told = tell_baseline(prior, bench, [Taken(VOLTS, 3.0), Taken(find_ohms(bench), 47_000.0)])
    assert np.array_equal(told.moved, prior.moved)


def test_order_of_a_baseline_does_not_matter(bench: Bench) -> None:
    prior = build_prior(bench, ())
    pair = [Taken(VOLTS, 19.3), Taken(find_ohms(bench), 4_700.0)]
    one, two = (tell_baseline(prior, bench, some) for some in (pair, pair[::-1]))
    assert np.allclose(one.moved, two.moved, atol=0.02)
    assert np.allclose(one.open, two.open, atol=0.02)
