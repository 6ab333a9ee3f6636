"""What looking ahead saves: expected minutes of ways of working beside the exact optimum, on loops of a reference set.

The set: one fault at a time in the wiring of a loop, of the kinds that a complaint of constant trouble brings to mind;
readings at the panel and at each detector that cut the loop; every answer sure; travel, repair and proof cost minutes.
Minutes and weights are the catalogue's own, which are invented: the figures compare ways of working, not real visits.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.faults import list_faults, read_catalogue
from diagnostics.readings import Bench, Measurement, list_measurements
from diagnostics.reasoning import build_prior, find_repair_class, tell_symptom
from diagnostics.reasoning.choose import build_outcomes
from diagnostics.reasoning.plan import ExactPlan, Rollout, Task, TooLargeError
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site

Index = NDArray[np.intp]
Array = NDArray[np.float64]
Pick = Callable[[Index, int], int | None]
SIZES = (6, 8, 10, 12, 14, 16, 18, 20)
STYLES = ("two_wire_zone", "four_wire_zone")
KINDS = frozenset({
    "conductor_open", "conductor_short", "end_resistor_missing", "end_resistor_wrong", "polarity_reversed", "head_off",
})  # fmt: skip
CUTTING = frozenset({"volts", "ohms", "panel_shows"})
SEED = 2026


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One loop of the reference set: expected minutes to repaired of each way of working, all from the same belief.

    ``exact`` measures until the repair is known and is the optimum of doing so; None where it did not fit.
    ``*_off`` plan with minutes that are wrong by a factor of two either way, and pay the right ones.
    ``differ`` is the share of steps, by probability, at which rollout does another thing than the one-step rule.
    """

    style: str
    detectors: int
    hypotheses: int
    states: int
    exact: float | None
    rollout: float
    one_step: float
    half_split: float
    rollout_off: float
    one_step_off: float
    differ: float

    @property
    def excess(self) -> dict[str, float]:
        """Return by which share each way costs more minutes than the exact plan; empty where that did not fit."""
        ways = ("rollout", "one_step", "half_split", "rollout_off", "one_step_off")
        return {way: getattr(self, way) / self.exact - 1 for way in ways} if self.exact else {}


def measure_plans(sizes: tuple[int, ...] = SIZES) -> tuple[PlanRow, ...]:
    """Return a row for each style and size."""
    return tuple(_measure(style, detectors) for style in STYLES for detectors in sizes)


def _measure(style: str, detectors: int) -> PlanRow:
    task, classes = build_reference(style, detectors)
    wrong = _misjudge(task)
    seen, misled = Rollout(task, classes), Rollout(wrong, classes)
    exact = ExactPlan(task, may_try=False)
    try:
        best = exact.find().minutes
    except TooLargeError:
        best = None
    ahead, differ = _rate_differences(task, classes, seen)
    return PlanRow(
        style=style, detectors=detectors, hypotheses=len(classes), states=exact.states, exact=best,
        rollout=ahead, one_step=rate_way(task, classes, seen.choose),
        half_split=rate_way(task, classes, _build_half_split(task, np.array(classes))),
        rollout_off=rate_way(task, classes, _look(misled)), one_step_off=rate_way(task, classes, misled.choose),
        differ=differ,
    )  # fmt: skip


def build_reference(style: str, detectors: int) -> tuple[Task, list[int]]:
    """Return the task of one loop of the reference set, and the repair of each hypothesis by number."""
    loop = build_loop(build_quick_site(QuickDescription(style, str(detectors), "4.7k", "18 AWG", "10 m"))[0])
    faults = [f for f in list_faults(loop) if f.kind in KINDS]
    bench = Bench(loop, [(), *((f,) for f in faults)])
    told = tell_symptom(build_prior(bench, ()), bench, "constant_trouble").probability[1:]
    measurements = [m for m in list_measurements(loop) if m.kind in CUTTING]
    answers = _list_answers(bench, measurements)[:, 1:]
    names = [find_repair_class((f,)) for f in faults]
    return _merge(answers, told, names, measurements)


def _list_answers(bench: Bench, measurements: list[Measurement]) -> Index:
    """Return the likeliest distinguishable answer of each measurement, by number, (measurement, hypothesis)."""
    none = np.zeros(len(bench.hypotheses))
    return np.array([
        build_outcomes(f, none, none if f.mean is None else f.spread, bench.meter).argmax(axis=1)
        for f in bench.forecast_all(measurements)
    ], dtype=np.intp)  # fmt: skip


def _merge(
    answers: Index, probability: Array, names: list[tuple[str, str]], measurements: list[Measurement]
) -> tuple[Task, list[int]]:
    """Return the task in which hypotheses with one repair that answer all alike are one."""
    order = list(dict.fromkeys(names))
    alike: dict[tuple[int, bytes], list[int]] = {}
    for n in np.flatnonzero(probability > 0):
        alike.setdefault((order.index(names[n]), answers[:, n].tobytes()), []).append(int(n))
    classes = [repair for repair, _ in alike]
    first = [some[0] for some in alike.values()]
    places = list(dict.fromkeys(["panel", *(m.place for m in measurements)]))
    remedies = read_catalogue().remedies
    task = Task(
        probability=np.array([probability[some].sum() for some in alike.values()]) / probability.sum(),
        answers=answers[:, first],
        minutes=np.array([[m.find_minutes(place) for m in measurements] for place in places]),
        leads_to=np.array([places.index(m.place) for m in measurements], dtype=np.intp),
        cured_by=tuple((1 << repair,) for repair in classes),
        repair_minutes=np.array([float(remedies[remedy].minutes) for remedy, _ in order]),
    )
    return task, classes


def rate_way(task: Task, classes: list[int], pick: Pick) -> float:
    """Return the expected minutes of a way of working: a test, by what is alive and where one stands, or repairs."""
    repairs = Rollout(task, classes)
    known: dict[tuple[bytes, int], float] = {}

    def follow(alive: Index, place: int) -> float:
        key = (alive.tobytes(), place)
        if key not in known:
            test = pick(alive, place)
            known[key] = repairs.rate_repairs(alive) if test is None else _pay(task, test, alive, place, follow)
        return known[key]

    return follow(np.arange(task.probability.size), 0) / float(task.probability.sum())


def _pay(task: Task, test: int, alive: Index, place: int, follow: Callable[[Index, int], float]) -> float:
    answers, goal = task.answers[test, alive], int(task.leads_to[test])
    after = sum(follow(alive[answers == code], goal) for code in np.unique(answers))
    return float(task.probability[alive].sum() * task.minutes[place, test]) + after


def _look(rollout: Rollout) -> Pick:
    def pick(alive: Index, place: int) -> int | None:
        ahead = rollout.look_ahead(alive, place)
        return None if ahead is None else ahead[0]

    return pick


def _build_half_split(task: Task, classes: Index) -> Pick:
    """Return the rule of thumb: what leaves the fewest at worst, each counted once; the quickest of these."""

    def pick(alive: Index, place: int) -> int | None:
        if np.unique(classes[alive]).size < 2:
            return None
        rated = []
        for test, row in enumerate(task.answers):
            counts = np.unique(row[alive], return_counts=True)[1]
            if counts.size > 1:
                rated.append((int(counts.max()), float(task.minutes[place, test]), test))
        return min(rated)[2] if rated else None

    return pick


def _rate_differences(task: Task, classes: list[int], seen: Rollout) -> tuple[float, float]:
    """Return the minutes of rollout, and the share of its steps that the one-step rule would not take."""
    steps = np.zeros(2)
    look = _look(seen)

    def pick(alive: Index, place: int) -> int | None:
        test = look(alive, place)
        if test is not None:
            other = test != seen.choose(alive, place)
            steps[int(other)] += float(task.probability[alive].sum())
        return test

    minutes = rate_way(task, classes, pick)
    return minutes, float(steps[1] / steps.sum())


def _misjudge(task: Task) -> Task:
    """Return the task with each test's minutes twice or half what they are, by a draw with a fixed seed."""
    factor = np.random.default_rng(SEED).choice([0.5, 2.0], size=len(task.answers))
    return replace(task, minutes=task.minutes * factor)
