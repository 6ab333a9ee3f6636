"""A policy that plans ahead once few hypotheses are left: exactly where that fits, else by rollout."""

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .choose import Action, InformationPerMinute, Policy, Situation, build_outcomes, rate_one
from .lazily import Lazily, prepare
from .plan import ExactPlan, Rollout, Task, TooLargeError

Index = NDArray[np.intp]
Plan = Literal["exact", "rollout"]

# Share of the probability that is planned for, and the most hypotheses that it may be spread over: with more of them
# the answers of one more reading are worth more than a plan, and forecasts of everything would make people wait.
LIVE_MASS = 0.99
MOST_LIVE = 48
# The exact plan may take so many states (about 0.05 s); a plan must save so much of the minutes to be followed.
QUICK_STATES = 600
LEAST_SAVING = 0.01
# A measurement takes part in a plan if each hypothesis makes one answer so probable, slips left out.
SURE = 0.9


@dataclass(frozen=True, slots=True)
class PlanAhead:
    """The one-step rule, and a plan beside it: where following the plan takes fewer expected minutes, it leads.

    Plans take every answer as sure, so measurements whose answers are not have no part in them.
    """

    base: Policy = field(default_factory=InformationPerMinute)

    def choose(self, situation: Situation) -> Action:
        """Return the next action."""
        own = self.base.choose(situation)
        if own.action != "measure" or own.again or own.measurement is None:
            return own
        live = find_live(situation)
        if live.size > MOST_LIVE or np.unique(situation.classes[live]).size < 2:
            return own
        first = [m.key for m in situation.measurements].index(own.measurement.key)
        tests, task = build_task(situation, live)
        if first not in tests:
            return own
        found = _find_first(task, [int(c) for c in _renumber(situation.classes[live])], tests.index(first))
        if found is None:
            return own
        n, plan = tests[found[0]], found[1]
        m, minutes, bits = situation.measurements[n], situation.minutes[n], rate_one(situation, n)
        return replace(own, minutes=minutes, measurement=m, bits=bits, plan=plan)


def _find_first(task: Task, classes: list[int], own: int) -> tuple[int, Plan] | None:
    """Return the test to begin with and how it was found; None where what the one-step rule says is as good."""
    exact = ExactPlan(task, QUICK_STATES, may_try=False)
    try:
        step = exact.find()
        whole = exact.rate_test(own)
    except TooLargeError:
        return _roll_out(task, classes, own)
    return (step.number, "exact") if step.action == "measure" and 1 - step.minutes / whole >= LEAST_SAVING else None


def _roll_out(task: Task, classes: list[int], own: int) -> tuple[int, Plan] | None:
    rollout, every = Rollout(task, classes), np.arange(task.probability.size)
    ahead = rollout.look_ahead(every, 0)
    if ahead is None or 1 - ahead[1] / rollout.rate_test(own, every, 0) < LEAST_SAVING:
        return None
    return ahead[0], "rollout"


def find_live(situation: Situation) -> Index:
    """Return the numbers of the fewest hypotheses that carry nearly all of the probability, in order."""
    order = np.argsort(-situation.probability, kind="stable")
    mass = np.cumsum(situation.probability[order]) / situation.probability.sum()
    live: Index = np.sort(order[: int(np.searchsorted(mass, LIVE_MASS)) + 1])
    return live


def build_task(situation: Situation, live: Index) -> tuple[list[int], Task]:
    """Return numbers of the measurements with sure answers, and the task of telling some hypotheses apart by them.

    Left out are measurements detector by detector that nobody has asked a forecast of: they cost most to forecast, and
    the one-step rule has asked for all that could win.
    """
    measurements = situation.measurements
    tests, rows = [], []
    for n in _list_cheap(situation):
        forecast = situation.forecasts[n].take(live)
        shift, spread = situation.shifts[n]
        chance = build_outcomes(forecast, shift[live], spread[live], situation.meter)
        if chance.max(axis=1).min() + forecast.measurement.data.misread >= SURE:
            tests.append(n)
            rows.append(chance.argmax(axis=1))
    goals = [measurements[n].place for n in tests]
    places = list(dict.fromkeys(["", *goals]))  # the first is where one stands now
    here = [situation.minutes[n] for n in tests]
    there = [[measurements[n].find_minutes(place) for n in tests] for place in places[1:]]
    classes = _renumber(situation.classes[live])
    repairs = np.unique(situation.classes[live])
    task = Task(
        probability=situation.probability[live],
        answers=np.array(rows, dtype=np.intp).reshape(len(tests), live.size),
        minutes=np.array([here, *there]).reshape(len(places), len(tests)),
        leads_to=np.array([places.index(goal) for goal in goals], dtype=np.intp),
        cured_by=tuple((1 << int(c),) for c in classes),
        repair_minutes=np.array([situation.repair_minutes[r] or situation.hand_over_minutes for r in repairs]),
    )
    return tests, task


def _list_cheap(situation: Situation) -> list[int]:
    every = range(len(situation.forecasts))
    made = set(situation.forecasts.made) if isinstance(situation.forecasts, Lazily) else set(every)
    some = [n for n in every if n in made or not situation.measurements[n].mode.detector]
    prepare(situation.forecasts, some)
    prepare(situation.shifts, some)
    return some


def _renumber(classes: Index) -> Index:
    """Return classes numbered on from 0, in their order."""
    names: Index = np.unique(classes, return_inverse=True)[1]
    return names
