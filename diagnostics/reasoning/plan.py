"""Planning ahead over sure answers: the exact plan where it fits, else a rollout of the one-step rule.

A *task* is what is left of a diagnosis once every measurement gives one sure answer under every hypothesis. Its exact
plan is dynamic programming over which hypotheses are still alive, what was repaired and where one stands. Rollout asks,
of each promising first step, what the visit would cost if the one-step rule were followed from there: at worst it is as
good as that rule (policy improvement; D. P. Bertsekas, *Dynamic Programming and Optimal Control*).
"""

import functools
import math
import operator
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
MOST_STATES = 50_000
WIDTH = 8
_TINY = 1e-12
_Choice = tuple[float, Literal["measure", "repair"], int, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Task:
    """What is left to find out, with sure answers.

    ``probability`` (hypothesis,) need not sum to 1. ``answers`` (test, hypothesis) number the answer of each test.
    ``minutes`` (place, test) are from each place where one may stand, ``leads_to`` (test,) is the place after a test.
    ``cured_by`` are, per hypothesis, sets of repairs as bits: it is cured once all repairs of one of its sets are done.
    ``repair_minutes`` (repair,) include seeing whether that was it. ``give_up_minutes`` end everything.
    """

    probability: Array
    answers: Index
    minutes: Array
    leads_to: Index
    cured_by: tuple[tuple[int, ...], ...]
    repair_minutes: Array
    give_up_minutes: float = math.inf


@dataclass(frozen=True, slots=True)
class Step:
    """The first step of a plan, and the expected minutes of the whole of it."""

    action: Literal["measure", "repair", "hand_over"]
    number: int
    minutes: float


class TooLargeError(Exception):
    """The exact plan needs more states than were allowed."""


@dataclass(slots=True)
class _Lookup:
    """A task as bits: one integer is a set of hypotheses."""

    task: Task
    parts: list[tuple[int, ...]] = field(init=False)
    weights: list[float] = field(init=False)
    costs: list[list[float]] = field(init=False)

    def __post_init__(self) -> None:
        self.parts = [
            tuple(to_bits(np.flatnonzero(row == code)) for code in np.unique(row)) for row in self.task.answers
        ]
        self.weights = [float(p) for p in self.task.probability]
        self.costs = [[float(m) for m in row] for row in self.task.minutes]


def to_bits(numbers: Iterable[int]) -> int:
    """Return a set of numbers as the bits of one integer."""
    bits = 0
    for n in numbers:
        bits |= 1 << int(n)
    return bits


def _list_bits(bits: int) -> Iterator[int]:
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low


class ExactPlan:
    """The plan with the least expected minutes of a task, by dynamic programming with pruning."""

    def __init__(self, task: Task, most_states: int = MOST_STATES, *, may_try: bool = True) -> None:
        """Plan nothing yet; without ``may_try`` nothing is repaired while a test could still tell repairs apart."""
        self._task, self._most, self._may_try = task, most_states, may_try
        self._lookup = _Lookup(task)
        self._known: dict[tuple[int, int, int], tuple[float, Step]] = {}
        self._weigh: dict[int, float] = {0: 0.0}
        self._repairs: dict[int, int] = {0: 0}
        cheapest = [
            min((sum(float(task.repair_minutes[r]) for r in _list_bits(one)) for one in sets), default=math.inf)
            for sets in task.cured_by
        ]
        self._least = [min(c, task.give_up_minutes) for c in cheapest]

    @property
    def states(self) -> int:
        """Return how many states were visited."""
        return len(self._known)

    def find(self, place: int = 0, alive: Iterable[int] | None = None) -> Step:
        """Return the first step and the minutes of all; raises TooLargeError where there are too many states."""
        some = to_bits(range(len(self._lookup.weights)) if alive is None else alive)
        total, step = self._solve(some, 0, place)
        return Step(step.action, step.number, total / self._sum(some))

    def rate_test(self, test: int, place: int = 0) -> float:
        """Return the minutes of all when one test is taken first; raises TooLargeError."""
        whole = to_bits(range(len(self._lookup.weights)))
        goal = int(self._task.leads_to[test])
        after = sum(self._solve(part, 0, goal)[0] for part in self._lookup.parts[test])
        return self._lookup.costs[place][test] + after / self._sum(whole)

    def _sum(self, alive: int) -> float:
        known = self._weigh.get(alive)
        if known is None:
            known = self._weigh[alive] = sum(self._lookup.weights[n] for n in _list_bits(alive))
        return known

    def _concerns(self, alive: int) -> int:
        """Return which repairs matter to what is alive: all others are as good as not done."""
        known = self._repairs.get(alive)
        if known is None:
            known = self._repairs[alive] = functools.reduce(
                operator.or_, (one for n in _list_bits(alive) for one in self._task.cured_by[n]), 0
            )
        return known

    def _bound(self, alive: int) -> float:
        return sum(self._lookup.weights[n] * self._least[n] for n in _list_bits(alive))

    def _solve(self, alive: int, done: int, place: int) -> tuple[float, Step]:
        """Return minutes times probability, and the first step, of one state."""
        done &= self._concerns(alive)
        key = (alive, done, place)
        known = self._known.get(key)
        if known is not None:
            return known
        if len(self._known) >= self._most:
            raise TooLargeError(f"more than {self._most} states")
        weight = self._sum(alive)
        best = weight * self._task.give_up_minutes if weight else 0.0
        step = Step("hand_over", -1, self._task.give_up_minutes)
        bound = self._bound(alive)
        for minutes, action, number, parts in self._list_actions(alive, done, place):
            if weight * minutes + (bound if action == "measure" else 0.0) >= best - _TINY:
                continue
            total = weight * minutes
            repaired = done | 1 << number if action == "repair" else done
            goal = int(self._task.leads_to[number]) if action == "measure" else place
            for part in parts:
                total += self._solve(part, repaired, goal)[0] if part else 0.0
                if total >= best:
                    break
            if total < best - _TINY:
                best, step = total, Step(action, number, minutes)
        self._known[key] = (best, step)
        return best, step

    def _list_actions(self, alive: int, done: int, place: int) -> list["_Choice"]:
        """Return what can be done here: minutes, what, its number, and the sets that may be left."""
        found = self._list_tests(alive, place)
        if self._may_try or not any(self._tells_repairs(cut) for *_, cut in found):
            for r in _list_bits(self._concerns(alive) & ~done):
                found.append((float(self._task.repair_minutes[r]), "repair", r, (self._leave(alive, done, r),)))
        return sorted(found, key=lambda a: (a[0], a[1], a[2]))

    def _tells_repairs(self, cut: Sequence[int]) -> bool:
        return len({self._concerns(part) for part in cut}) > 1

    def _list_tests(self, alive: int, place: int) -> list["_Choice"]:
        found: list[_Choice] = []
        seen: dict[tuple[tuple[int, ...], int], float] = {}
        for t, parts in enumerate(self._lookup.parts):
            cut = tuple(p for part in parts if (p := part & alive))
            if len(cut) < 2:
                continue
            minutes = self._lookup.costs[place][t]
            same = (cut, int(self._task.leads_to[t]))
            if seen.get(same, math.inf) <= minutes:
                continue
            seen[same] = minutes
            found.append((minutes, "measure", t, cut))
        return found

    def _leave(self, alive: int, done: int, repair: int) -> int:
        """Return which hypotheses are still a fault after one more repair."""
        after = done | 1 << repair
        cured = (n for n in _list_bits(alive) if any(one & after == one for one in self._task.cured_by[n]))
        return alive & ~to_bits(cured)


class Rollout:
    """What a visit costs when the one-step rule is followed, and which first step would make it cheapest.

    The rule: the test that tells most about the repair for each minute; once one repair is left, or nothing tells them
    apart, repairs in the order of probability per minute.
    """

    def __init__(self, task: Task, classes: Sequence[int]) -> None:
        """Plan nothing yet; ``classes`` (hypothesis,) number the repair of each hypothesis."""
        self._task = task
        self._classes = np.asarray(classes, dtype=np.intp)
        self._known: dict[tuple[bytes, int], float] = {}
        self._width = int(task.answers.max(initial=0)) + 1

    def rate_rule(self, alive: Index, place: int) -> float:
        """Return minutes times probability when the rule is followed from here."""
        if not alive.size:
            return 0.0
        key = (alive.tobytes(), place)
        known = self._known.get(key)
        if known is None:
            test = self.choose(alive, place)
            known = self.rate_repairs(alive) if test is None else self.rate_test(test, alive, place)
            self._known[key] = known
        return known

    def rate_test(self, test: int, alive: Index, place: int) -> float:
        """Return minutes times probability when one test is taken first, and the rule followed from there."""
        answers = self._task.answers[test, alive]
        weight = float(self._task.probability[alive].sum())
        goal = int(self._task.leads_to[test])
        after = sum(self.rate_rule(alive[answers == code], goal) for code in np.unique(answers))
        return weight * float(self._task.minutes[place, test]) + after

    def choose(self, alive: Index, place: int) -> int | None:
        """Return the test that tells most for each minute, or None where none tells repairs apart."""
        rates = self.rate_tests(alive, place)
        best = int(np.argmax(rates)) if rates.size else 0
        return best if rates.size and rates[best] > _TINY else None

    def look_ahead(self, alive: Index, place: int, width: int = WIDTH) -> tuple[int, float] | None:
        """Return the best first test of the ``width`` that tell most for each minute, and minutes times probability.

        None where no test tells repairs apart.
        """
        rates = self.rate_tests(alive, place)
        able = [int(t) for t in np.argsort(-rates, kind="stable")[:width] if rates[t] > _TINY]
        rated = [(self.rate_test(t, alive, place), n) for n, t in enumerate(able)]
        if not rated:
            return None
        total, first = min(rated)
        return able[first], total

    def rate_tests(self, alive: Index, place: int) -> Array:
        """Return the bits per minute of each test, (test,)."""
        classes, kinds = np.unique(self._classes[alive], return_inverse=True)
        if classes.size < 2 or not len(self._task.answers):
            return np.zeros(len(self._task.answers))
        tests, codes = len(self._task.answers), self._task.answers[:, alive]
        at = (np.arange(tests)[:, None] * self._width + codes) * classes.size + kinds[None]
        share = np.broadcast_to(self._task.probability[alive], at.shape)
        size = tests * self._width * classes.size
        joint = np.bincount(at.ravel(), share.ravel(), size).reshape(tests, self._width, classes.size)
        joint = joint / self._task.probability[alive].sum()
        bits = _entropy(joint.sum(axis=2)) + _entropy(joint[:1].sum(axis=1)) - _entropy(joint.reshape(tests, -1))
        rates: Array = bits / self._task.minutes[place]
        return rates

    def rate_repairs(self, alive: Index) -> float:
        """Return minutes times probability of repairs one by one, likeliest for its minutes first."""
        weight = np.bincount(self._classes[alive], self._task.probability[alive], self._task.repair_minutes.size)
        some = np.flatnonzero(weight)
        order = some[np.argsort(-weight[some] / self._task.repair_minutes[some], kind="stable")]
        left = np.cumsum(weight[order][::-1])[::-1]
        return float((left * self._task.repair_minutes[order]).sum())


def _entropy(share: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        terms: Array = np.where(share > 0, share * np.log2(share), 0.0)
    total: Array = -terms.sum(axis=-1)
    return total
