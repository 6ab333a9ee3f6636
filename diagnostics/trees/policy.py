"""A finding guide as a policy, with the loop model at its side: it skips, proposes a shorter step, and doubts."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from diagnostics.readings import Bench, Measurement
from diagnostics.reasoning import (
    Action,
    Diagnosis,
    PlanAhead,
    Policy,
    Situation,
    rate_one,
)
from diagnostics.wiring import Loop

from .check import HEALTHY
from .guide import Guide
from .schema import Step
from .walk import CANNOT, History, Walk, find_told, walk

# A customary step is passed only where it tells as good as nothing: it may still show that the loop is another than was
# described. Invented.
NOTHING_TOLD = 0.003  # bits
# The model proposes its own step when that tells so many times as much for each minute.
SHORTER = 1.5
# Below this probability for all that the guide can still end at, guide and readings disagree.
DOUBTED = 0.05
DONE = "done"


@dataclass(frozen=True, slots=True)
class Doubt:
    """What the guide can still end at is improbable after the readings; ``probability`` of all of it together."""

    at: str
    probability: float


@dataclass(frozen=True)
class GuidePolicy:
    """The guide leads as far as its steps go; then, and once a reading leaves it, the model carries on.

    Questions without an answer in ``answers`` are taken as ``usual``. A step whose answer tells nothing any more is
    passed with the answer that the belief expects.
    """

    guide: Guide
    bench: Bench
    answers: Mapping[str, str] = field(default_factory=dict)
    base: Policy = field(default_factory=PlanAhead)

    def choose(self, situation: Situation) -> Action:
        """Return the guide's next measurement, with the model's own step beside it where that is shorter."""
        own = self.base.choose(situation)
        if situation.again is not None or situation.settled is not None or situation.stuck:
            return own
        m = walk(self.guide, self.bench, _Supposing(self.answers, situation)).measurement
        number = _find_number(situation, m)
        if number is None:
            return own
        minutes = situation.minutes[number]
        told = Action("measure", minutes, situation.measurements[number], bits=rate_one(situation, number))
        return replace(told, instead=own) if _is_shorter(self.bench.loop, own, told, situation) else told


def as_policy(guide: Guide, bench: Bench, answers: Mapping[str, str] | None = None) -> Policy:
    """Return a guide as a policy for a loop; ``bench`` must hold *healthy* first."""
    return GuidePolicy(guide, bench, answers or {})


def _is_shorter(loop: Loop, own: Action, told: Action, situation: Situation) -> bool:
    """Return whether the model's step takes no longer and tells much more for the minutes.

    What the complaint says already is none, nor is a step at another loop than the one in question.
    """
    if own.minutes > told.minutes or (own.measurement and not _is_in_question(loop, own.measurement)):
        return False
    if own.measurement is None or told.measurement is None or own.measurement.key == told.measurement.key:
        return False
    if find_told(situation.symptom, own.measurement) is not None:
        return False
    return own.bits / own.minutes >= SHORTER * told.bits / told.minutes


def _is_in_question(loop: Loop, m: Measurement) -> bool:
    """Return whether a step belongs to the loop in question, the first, or to none more than to the others."""
    terminals = (t.partition(".") for t in (m.red, m.black) if t)
    names = {m.at, m.place, *(name for owner, _, end in terminals for name in (owner, end.rstrip("+-")))}
    chains = [chain for name in sorted(names) if name and (chain := loop.find_chain(name)) is not None]
    return not chains or any(chain.spec.zone == loop.chains[0].spec.zone for chain in chains)


def _find_number(situation: Situation, m: Measurement | None) -> int | None:
    keys = [offered.key for offered in situation.measurements]
    return keys.index(m.key) if m is not None and m.key in keys else None


@dataclass(frozen=True, slots=True)
class _Supposing:
    """Answers for a walk: what was read; what is certain anyway; what cannot be done; questions as on a usual day."""

    answers: Mapping[str, str]
    situation: Situation

    def __call__(self, name: str, step: Step, measurement: Measurement | None) -> float | str | None:
        """Return an answer, or None where this step is worth taking."""
        given = History(self.situation.symptom, self.situation.taken, self.answers)(name, step, measurement)
        if given is not None:
            return given
        if measurement is None:
            return DONE if step.do is not None else step.usual
        number = _find_number(self.situation, measurement)
        if number is None:
            return CANNOT
        return _expect(self.situation, number) if rate_one(self.situation, number) < NOTHING_TOLD else None


def _expect(situation: Situation, number: int) -> float | str:
    """Return the answer that is expected of a measurement: the likeliest word, or the leader's value."""
    forecast = situation.forecasts[number]
    if forecast.chance is not None:
        return forecast.tokens[int(np.argmax(situation.probability @ forecast.chance))]
    leader = int(np.argmax(situation.probability))
    if forecast.mean is None:
        raise TypeError("a forecast has either numbers or words")
    return float(forecast.mean[leader] + situation.shifts[number][0][leader])


def find_doubt(found: Walk, diagnosis: Diagnosis) -> Doubt | None:
    """Return whether guide and readings disagree: where the guide can still end is improbable by the model."""
    if found.reached == "left" or not any(p.measurement for p in found.passed):
        return None
    suspects = {s for end in list_ends(found.guide, found.at) for s in found.guide.ends[end].suspects}
    named = [c for c in diagnosis.candidates if (c.faults[0].kind if c.faults else HEALTHY) in suspects]
    probability = sum(c.probability for c in named)
    return Doubt(found.at, probability) if probability < DOUBTED else None


def list_ends(guide: Guide, at: str) -> tuple[str, ...]:
    """Return every end that can still be reached from a step or end, in order."""
    seen: dict[str, None] = {}
    todo = [at]
    while todo:
        name = todo.pop(0)
        if name not in seen:
            seen[name] = None
            todo += guide.steps[name].goals if name in guide.steps else ()
    return tuple(name for name in seen if name in guide.ends)
