"""Choosing and updating against published instances, through the engine's own code.

Sources
-------
Half-split of a chain of equally likely stages: the cascade example of J. de Kleer and B. C. Williams, *Diagnosing
multiple faults*, Artificial Intelligence 32 (1987); the numbers follow from binary entropy, worked out by hand.
Test sequencing: the worked example of K. R. Pattipati and M. G. Alexandridis, *Application of heuristic search and
information theory to sequential fault diagnosis*, IEEE Trans. SMC 20 (1990); matrix and priors from memory, the cost
of the myopic rule recomputed by exact enumeration.
Bayes' rule: the textbook case of one test with 90 % hits and 5 % false alarms, worked out by hand.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.readings import Forecast, Measurement, read_table
from diagnostics.reasoning import (
    Belief,
    InformationPerMinute,
    PlanAhead,
    Policy,
    Situation,
    find_information,
    rank_measurements,
    update,
)

Array = NDArray[np.float64]
METER = read_table().meter
WORDS = ("pass", "fail")


def build_tests(outcomes: Array) -> tuple[Forecast, ...]:
    """Return one sure test a column; ``outcomes`` (state, test) is 1 where the test fails."""
    return tuple(
        Forecast(Measurement("lamp", at=f"det{n}"), tokens=WORDS, chance=np.stack([1.0 - fails, fails], axis=1))
        for n, fails in enumerate(outcomes.T, 1)
    )


def build_belief(probability: Array) -> Belief:
    count = probability.size
    return Belief(probability, 0.0, np.zeros((count, 1)), np.ones((count, 1, 1)))


def build_situation(belief: Belief, tests: tuple[Forecast, ...]) -> Situation:
    count = belief.probability.size
    zero = np.zeros(count)
    return Situation(
        probability=belief.probability,
        not_modelled=0.0,
        classes=np.arange(1, count + 1),
        forecasts=tests,
        shifts=tuple((zero, zero) for _ in tests),
        minutes=(1.0,) * len(tests),
        repair_minutes=(0.0, *(1.0,) * count),
        settled=None,
        again=None,
        hand_over_minutes=45.0,
        meter=METER,
    )


def expect_tests(belief: Belief, tests: tuple[Forecast, ...], policy: Policy | None = None) -> float:
    """Return how many tests a policy, one step ahead by default, asks for on average until one state is left."""
    if belief.probability.max() > 1 - 1e-9:
        return 0.0
    action = (policy or InformationPerMinute()).choose(build_situation(belief, tests))
    chosen = next(t for t in tests if t.measurement == action.measurement)
    assert chosen.chance is not None
    expected = 1.0
    for n, word in enumerate(WORDS):
        share = float(belief.probability @ chosen.chance[:, n])
        if share > 0:
            expected += share * expect_tests(update(belief, chosen, word, METER)[0], tests, policy)
    return expected


def build_chain(stages: int) -> Array:
    """Return the outcomes of a test behind each stage but the last: it fails where the fault lies before it."""
    return np.array([[float(fault <= behind) for behind in range(stages - 1)] for fault in range(stages)])


@pytest.mark.parametrize(
    ("behind", "bits"), [(1, 0.5436), (2, 0.8113), (3, 0.9544), (4, 1.0), (5, 0.9544), (6, 0.8113), (7, 0.5436)]
)
def test_test_behind_stage_k_of_eight_tells_its_binary_entropy(behind: int, bits: float) -> None:
    outcomes = build_chain(8)[:, behind - 1]
    joint = np.stack([1 - outcomes, outcomes], axis=1) / 8
    assert find_information(joint) == pytest.approx(bits, abs=5e-5)


def test_first_test_of_a_chain_is_at_its_middle() -> None:
    belief, tests = build_belief(np.full(8, 1 / 8)), build_tests(build_chain(8))
    action = InformationPerMinute().choose(build_situation(belief, tests))
    assert action.measurement == tests[3].measurement
    assert action.bits == pytest.approx(1.0)


@pytest.mark.parametrize(("stages", "expected"), [(5, 2.4), (8, 3.0), (16, 4.0)])
def test_half_split_finds_the_stage_in_the_published_number_of_tests(stages: int, expected: float) -> None:
    belief = build_belief(np.full(stages, 1 / stages))
    assert expect_tests(belief, build_tests(build_chain(stages))) == pytest.approx(expected)


# Pattipati and Alexandridis 1990: states s0 to s5 (rows), tests t1 to t5 (columns), and their priors.
SEQUENCING = np.array(
    [[0, 0, 0, 0, 0], [0, 1, 0, 0, 1], [0, 0, 1, 1, 0], [1, 0, 0, 1, 1], [1, 1, 0, 0, 0], [1, 1, 1, 1, 0]], dtype=float
)
PRIORS = np.array([0.70, 0.01, 0.02, 0.10, 0.05, 0.12])


def test_information_alone_starts_with_the_first_test_and_costs_what_is_published() -> None:
    """One step ahead, information alone needs 2.86 tests where 2.18 would do."""
    belief, tests = build_belief(PRIORS), build_tests(SEQUENCING)
    measurement, bits, _ = rank_measurements(build_situation(belief, tests))[0]
    assert measurement.at == "det1"
    assert bits == pytest.approx(0.8415, abs=5e-5)
    assert expect_tests(belief, tests) == pytest.approx(2.86)


def test_policy_plans_the_optimal_sequence() -> None:
    assert expect_tests(build_belief(PRIORS), build_tests(SEQUENCING), PlanAhead()) == pytest.approx(2.18)


def test_one_positive_test_gives_what_bayes_gives() -> None:
    """Prior 0.2, P(+|F) 0.9, P(+|no F) 0.05: 0.18 / (0.18 + 0.04) = 0.81818."""
    chance = np.array([[0.95, 0.05], [0.1, 0.9]])
    told = Forecast(Measurement("lamp", at="det1"), tokens=WORDS, chance=chance)
    belief, _ = update(build_belief(np.array([0.8, 0.2])), told, "fail", METER)
    assert belief.probability == pytest.approx([0.18182, 0.81818], abs=5e-6)
    assert belief.not_modelled == 0.0


def test_one_negative_test_gives_what_bayes_gives() -> None:
    """0.02 / (0.02 + 0.76) = 0.025641."""
    chance = np.array([[0.95, 0.05], [0.1, 0.9]])
    told = Forecast(Measurement("lamp", at="det1"), tokens=WORDS, chance=chance)
    belief, _ = update(build_belief(np.array([0.8, 0.2])), told, "pass", METER)
    assert belief.probability[1] == pytest.approx(0.025641, abs=5e-7)


@pytest.mark.parametrize(("value", "prior"), [(20.0, 0.5), (20.5, 0.2), (19.0, 0.7)])
def test_two_normal_hypotheses_give_the_ratio_of_their_densities(value: float, prior: float) -> None:
    """Far from any slip, the odds move by the ratio of two normal densities, as any textbook has it."""
    mean, spread = np.array([19.0, 21.0]), np.array([0.5, 0.5])
    told = Forecast(Measurement("volts", red="a", black="b"), mean=mean, slopes=spread[None])
    belief, _ = update(build_belief(np.array([1 - prior, prior])), told, value, METER)
    table = read_table()
    sd = np.hypot(np.hypot(spread, table.own_share * (0.005 * mean + 0.02) / 2), table.stray_v)
    density = np.exp(-0.5 * ((value - mean) / sd) ** 2) / sd
    weight = density * [1 - prior, prior]
    assert belief.probability == pytest.approx(weight / weight.sum(), abs=2e-3)
