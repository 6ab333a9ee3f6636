"""The reference set compares ways of working honestly: the exact plan is the least, and each way pays what it takes."""

import numpy as np
import pytest

from diagnostics.proving.plans import PlanRow, build_reference, measure_plans, rate_way
from diagnostics.reasoning.plan import ExactPlan, Rollout, Task

ROWS = measure_plans((6, 10))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.style}, {row.detectors}")
def test_nothing_beats_the_exact_plan_and_looking_ahead_never_loses(row: PlanRow) -> None:
    assert row.exact is not None
    assert all(excess >= -1e-9 for excess in row.excess.values())
    assert row.excess["rollout"] <= row.excess["one_step"] + 1e-9
    assert row.excess["rollout"] <= 0.005, "the aim on this set"
    assert row.excess["half_split"] > 0.01


@pytest.mark.parametrize("style", ["two_wire_zone", "four_wire_zone"])
def test_exact_plan_costs_what_following_it_fault_by_fault_costs(style: str) -> None:
    task, classes = build_reference(style, 6)
    plan, total = ExactPlan(task, may_try=False), 0.0
    for true in range(len(classes)):
        alive, place = np.arange(len(classes)), 0
        while (step := plan.find(place, alive)).action == "measure":
            total += float(task.probability[true] * task.minutes[place, step.number])
            answers = task.answers[step.number]
            alive = alive[answers[alive] == answers[true]]
            place = int(task.leads_to[step.number])
        total += float(task.probability[true]) * _repair(task, classes, alive, true)
    assert plan.find().minutes == pytest.approx(total)


def _repair(task: Task, classes: list[int], alive: np.ndarray, true: int) -> float:
    """Return the minutes of repairs one by one, likeliest for its minutes first, until the true one is made."""
    weight = np.bincount(np.array(classes)[alive], task.probability[alive], task.repair_minutes.size)
    paid = 0.0
    for repair in np.argsort(-weight / task.repair_minutes, kind="stable"):
        paid += float(task.repair_minutes[repair])
        if repair == classes[true]:
            return paid
    raise AssertionError("the true repair is among them")


def test_a_way_that_never_measures_pays_for_repairs_alone() -> None:
    task, classes = build_reference("two_wire_zone", 6)
    never = rate_way(task, classes, lambda _alive, _place: None)
    assert never == pytest.approx(Rollout(task, classes).rate_repairs(np.arange(len(classes))))
    assert never > ROWS[0].half_split
