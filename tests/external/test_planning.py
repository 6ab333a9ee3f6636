"""Plans, beliefs and gains against published instances.

Sources
-------
Sequencing: K. R. Pattipati and M. G. Alexandridis, IEEE Trans. SMC 20 (1990), worked example; matrix and 2.18 from
memory, recomputed by enumeration.
Actions that cover faults: F. V. Jensen et al., AIEDAM 15 (2001), figure 1: orders of 1.50 and 1.45; which action covers
which fault is deduced from these numbers.
Orders of repairs: J. Kalagnanam and M. Henrion (1988) for single faults, probability over cost; D. Heckerman,
J. S. Breese and K. Rommelse (1995) for independent faults, p over c(1 - p). Checked against every order.
Multipliers and adders: J. de Kleer and B. C. Williams, Artificial Intelligence 32 (1987); gains recomputed.
Three bulbs: P. Struss and O. Dressler, IJCAI (1989): a bulb does not light without voltage.
"""

import itertools
import math

import numpy as np
import pytest

from diagnostics.circuit import solve_batch
from diagnostics.reasoning import find_information
from diagnostics.reasoning.plan import ExactPlan, Rollout, Task, TooLargeError
from diagnostics.wiring import EARTH
from tests.circuit.bare import battery, build_bare, resistor
from tests.external.test_half_split_and_bayes import PRIORS, SEQUENCING, build_chain


def build_task(probability: np.ndarray, answers: np.ndarray) -> Task:
    """Return tests of one minute each, all at one place; every hypothesis has a repair of its own, a minute too."""
    tests, count = answers.shape
    return Task(
        probability=probability, answers=answers.astype(np.intp), minutes=np.ones((1, tests)),
        leads_to=np.zeros(tests, np.intp), cured_by=tuple((1 << n,) for n in range(count)),
        repair_minutes=np.ones(count),
    )  # fmt: skip


def build_repairs(probability: list[float], cured_by: list[tuple[int, ...]], minutes: list[float]) -> Task:
    """Return a task with repairs and no test."""
    none = np.zeros((0, len(probability)), np.intp)
    return Task(np.array(probability), none, np.zeros((1, 0)), np.zeros(0, np.intp), tuple(cured_by), np.array(minutes))


def pay(task: Task, order: tuple[int, ...]) -> float:
    """Return what an order of repairs costs, by the definition: each is paid unless those before it were enough."""
    total, done, alive = 0.0, 0, list(range(task.probability.size))
    for repair in order:
        total += float(task.repair_minutes[repair]) * float(task.probability[alive].sum())
        done |= 1 << repair
        alive = [n for n in alive if not any(one & done == one for one in task.cured_by[n])]
    return total


def test_exact_plan_and_rollout_need_the_published_number_of_tests() -> None:
    task = build_task(PRIORS, SEQUENCING.T)
    assert ExactPlan(task, may_try=False).find().minutes == pytest.approx(2.18 + 1)
    rollout, every = Rollout(task, range(6)), np.arange(6)
    assert rollout.rate_rule(every, 0) == pytest.approx(2.86 + 1)
    ahead = rollout.look_ahead(every, 0)
    assert ahead is not None
    assert ahead[0] == 1, "t2 first"
    assert ahead[1] == pytest.approx(2.18 + 1)


@pytest.mark.parametrize(("stages", "expected"), [(5, 2.4), (8, 3.0), (16, 4.0)])
def test_exact_plan_of_a_chain_is_half_splitting(stages: int, expected: float) -> None:
    task = build_task(np.full(stages, 1 / stages), build_chain(stages).T)
    assert ExactPlan(task, may_try=False).find().minutes == pytest.approx(expected + 1)


def test_a_plan_that_needs_too_many_states_says_so() -> None:
    with pytest.raises(TooLargeError, match="more than 10 states"):
        ExactPlan(build_task(np.full(16, 1 / 16), build_chain(16).T), 10, may_try=False).find()


def test_cover_that_fools_the_greedy_order_is_planned_at_its_optimum() -> None:
    # C1..C4 = .20 .25 .40 .15; A1 mends C1, C2; A2 mends C2, C3; A3 mends C3, C4; all cost 1.
    task = build_repairs([0.2, 0.25, 0.4, 0.15], [(1,), (1, 2), (2, 4), (4,)], [1.0, 1.0, 1.0])
    assert pay(task, (1, 0, 2)) == pytest.approx(1.50), "the likeliest first"
    assert pay(task, (2, 0)) == pytest.approx(1.45)
    step = ExactPlan(task).find()
    assert step.minutes == pytest.approx(1.45)
    assert step.action == "repair"
    assert step.number in {0, 2}, "either order of the two costs the same or more than this"


def test_single_faults_are_repaired_in_the_order_of_probability_over_cost() -> None:
    draw = np.random.default_rng(1995)
    for _ in range(100):
        p, c = draw.dirichlet(np.ones(5)), draw.uniform(1, 10, 5)
        task = build_repairs(list(p), [(1 << n,) for n in range(5)], list(c))
        best = min(itertools.permutations(range(5)), key=lambda order: pay(task, order))
        assert best == tuple(np.argsort(-p / c))
        assert ExactPlan(task).find().minutes == pytest.approx(pay(task, best))
        assert Rollout(task, range(5)).rate_rule(np.arange(5), 0) == pytest.approx(pay(task, best))


def test_independent_faults_are_repaired_in_the_order_of_p_over_c_times_one_less_p() -> None:
    draw = np.random.default_rng(1994)
    sets = [s for size in range(1, 5) for s in itertools.combinations(range(4), size)]
    plain = 0
    for _ in range(100):
        p, c = draw.uniform(0.02, 0.6, 4), draw.uniform(1, 10, 4)
        weight = np.array([math.prod(p[n] if n in s else 1 - p[n] for n in range(4)) for s in sets])
        task = build_repairs(list(weight / weight.sum()), [(sum(1 << n for n in s),) for s in sets], list(c))
        order = tuple(int(n) for n in np.argsort(-p / (c * (1 - p))))
        least = min(pay(task, other) for other in itertools.permutations(range(4)))
        assert pay(task, order) == pytest.approx(least)
        assert ExactPlan(task).find().minutes == pytest.approx(least)
        plain += pay(task, tuple(int(n) for n in np.argsort(-p / c))) > least * (1 + 1e-9)
    assert plain > 10, "p over c alone is often not the best order"


def build_polybox() -> tuple[list[frozenset[str]], np.ndarray, list[np.ndarray]]:
    """Return sets of broken parts, their probabilities, and how likely each value of X, Y, Z is under each.

    X, Y, Z should be 6; F = X + Y = 10 and G = Y + Z = 12 are seen. What nothing determines is any of 16 values.
    """
    parts = ("M1", "M2", "M3", "A1", "A2")
    found, weight, chances = [], [], []
    for broken in (frozenset(s) for size in range(6) for s in itertools.combinations(parts, size)):
        values = [
            xyz
            for xyz in itertools.product(range(16), repeat=3)
            if all(part in broken or value == 6 for part, value in zip(parts, xyz, strict=False))
            and ("A1" in broken or xyz[0] + xyz[1] == 10)
            and ("A2" in broken or xyz[1] + xyz[2] == 12)
        ]
        if values:
            found.append(broken)
            weight.append(math.prod(0.01 if part in broken else 0.99 for part in parts))
            chances.append([np.bincount(column, minlength=16) / len(values) for column in zip(*values, strict=True)])
    return found, np.array(weight) / sum(weight), [np.array(rows) for rows in zip(*chances, strict=True)]


def test_multipliers_and_adders_give_the_published_diagnoses_and_gains() -> None:
    found, weight, chances = build_polybox()
    assert len(found) == 27
    least = {s for s in found if not any(other < s for other in found)}
    assert least == {frozenset(s) for s in ({"M1"}, {"A1"}, {"M2", "M3"}, {"M2", "A2"})}
    assert weight[found.index(frozenset({"M1"}))] == pytest.approx(0.47803, abs=5e-6)
    gains = [find_information(rows * weight[:, None]) for rows in chances]
    assert gains == pytest.approx([1.0332, 0.0812, 0.0470], abs=2e-3)


def test_two_dark_bulbs_beside_a_lit_one_are_broken_themselves() -> None:
    """Supply, two wires to the first bulb, two on to the next, two on to the last; parts open at 0.01 each."""
    wires = {"W1": ("s+", "a+"), "W2": ("0", "a-"), "W3": ("a+", "b+"), "W4": ("a-", "b-"), "W5": ("b+", "c+"),
             "W6": ("b-", "c-")}  # fmt: skip
    bulbs = {"B1": "a", "B2": "b", "B3": "c"}
    posterior: dict[frozenset[str], float] = {}
    names = ("S", *wires, *bulbs)
    for broken in (frozenset(s) for size in range(4) for s in itertools.combinations(names, size)):
        ohm = {name: 1e9 if name in broken else 0.1 for name in names}
        elements = [
            battery("s+", "0", 12.0, ohm["S"]), resistor("0", EARTH, 1.0),
            *(resistor(*ends, ohm[name]) for name, ends in wires.items()),
            *(resistor(f"{at}+", f"{at}-", 100.0 if ohm[name] < 1 else 1e9) for name, at in bulbs.items()),
        ]  # fmt: skip
        settled = solve_batch(build_bare(elements), [()])
        volts = {name: abs(float(settled.volts(f"{at}+", f"{at}-")[0])) for name, at in bulbs.items()}
        lit = {name for name in bulbs if name not in broken and volts[name] > 10}
        if lit == {"B3"}:
            posterior[broken] = 0.01 ** len(broken) * 0.99 ** (len(names) - len(broken))
    total = sum(posterior.values())
    leader = max(posterior, key=lambda s: posterior[s])
    assert leader == {"B1", "B2"}
    assert posterior[leader] / total == pytest.approx(1.0), "no other set of up to three parts does this"
