"""How a belief came about: the shares of the repairs after the complaint alone, and after each reading."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from diagnostics.readings import Bench

from .answer import Question
from .repairs import list_repairs, weigh_repairs
from .told import weigh


@dataclass(frozen=True, slots=True)
class Stage:
    """What was believed at one moment: the share of each repair, *nothing to repair* among them, and of *other*."""

    shares: Mapping[tuple[str, str], float]
    not_modelled: float


def trace_belief(bench: Bench, question: Question) -> tuple[Stage, ...]:
    """Return the belief after the complaint alone, then after each reading in the order taken.

    A repair that did not cure counts from the first reading after it on; of several, those before the last count from
    the start, since nobody kept when they were made.
    """
    return tuple(_weigh_first(bench, question, count) for count in range(len(question.taken) + 1))


def _weigh_first(bench: Bench, question: Question, count: int) -> Stage:
    then = replace(question, taken=question.taken[:count])
    if question.tried and count <= (question.tried_after or 0) and count < len(question.taken):
        then = replace(then, tried=question.tried[:-1], tried_after=None, symptom_after=None)
    told = weigh(bench, then)
    return Stage(weigh_repairs(told.belief, list_repairs(told.bench.hypotheses, told.belief)), told.belief.not_modelled)
