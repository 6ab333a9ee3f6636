"""Walk a finding guide: from answers to the step that comes next, or the end that they lead to."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal

import numpy as np

from diagnostics.readings import Bench, Measurement, find_own_sd, list_walked
from diagnostics.readings.meter import Unit
from diagnostics.reasoning import Taken, keep_latest, read_symptoms
from diagnostics.wiring import Channel, Loop, Zone

from .conditions import Between, Sound, find_limits, is_met, parse_condition
from .guide import Guide
from .places import find_step_measurement, list_wiring
from .schema import End, Step

CANNOT = "cannot"
Answer = Callable[[str, Step, Measurement | None], "float | str | None"]
Reached = Literal["step", "end", "left"]


@dataclass(frozen=True, slots=True)
class Passed:
    """A step that an answer was there for: its name, the answer, where it led, and how far the nearest other way was.

    ``beside`` is the nearest value (V or Ω) that leads elsewhere, ``clear_sds`` how many standard deviations of spread
    and meter it is off; None for words.
    """

    step: str
    answer: float | str | None
    goal: str
    measurement: Measurement | None = None
    beside: float | None = None
    clear_sds: float | None = None


@dataclass(frozen=True, slots=True)
class Walk:
    """How far the answers lead: ``reached`` is a step without an answer, an end, or *left*: no way fits the answer."""

    guide: Guide
    passed: tuple[Passed, ...]
    reached: Reached
    at: str
    measurement: Measurement | None = None

    @property
    def step(self) -> Step | None:
        """Return the step that waits for an answer, or None."""
        return self.guide.steps.get(self.at) if self.reached == "step" else None

    @property
    def end(self) -> End | None:
        """Return the end that was reached, or None."""
        return self.guide.ends.get(self.at) if self.reached == "end" else None


def walk(guide: Guide, bench: Bench, answer: Answer) -> Walk:
    """Walk a guide on a loop as far as answers go.

    ``answer`` maps the name of a step, the step and its measurement to what was read or said, ``CANNOT``, or None where
    nothing is known yet. ``bench`` must hold *healthy* first.
    """
    passed: list[Passed] = []
    at = guide.first
    while at in guide.steps:
        step = guide.steps[at]
        measurement = find_step_measurement(step, bench.loop)
        found = _pass(at, step, measurement, bench, answer)
        if found is None:
            return Walk(guide, tuple(passed), "step", at, measurement)
        passed.append(found)
        if not found.goal:
            return Walk(guide, tuple(passed), "left", at, measurement)
        at = found.goal
    return Walk(guide, tuple(passed), "end", at)


def _pass(name: str, step: Step, measurement: Measurement | None, bench: Bench, answer: Answer) -> Passed | None:
    """Return how a step is passed, or None where its answer is not there yet; an empty goal leaves the guide."""
    if step.known is not None:
        return _pass_known(name, step, bench.loop)
    if step.measure is not None and measurement is None:
        return Passed(name, None, step.absent or "")
    said = answer(name, step, measurement)
    if said == CANNOT:
        return Passed(name, CANNOT, step.cannot or "", measurement)
    return None if said is None else _pass_answer(name, step, measurement, said, bench)


def _pass_answer(name: str, step: Step, m: Measurement | None, said: float | str, bench: Bench) -> Passed:
    if m is None:
        goal = next((b.go for b in step.branches if said in b.conditions), step.otherwise)
        return Passed(name, said, step.go or goal or "")
    if isinstance(said, str):
        return _pass_words(name, step, m, said, bench.loop)
    return _pass_number(name, step, m, said, find_sound(bench, m))


def _pass_known(name: str, step: Step, loop: Loop) -> Passed:
    known = list_wiring(loop)
    branch = next((b for b in step.branches if known & set(b.conditions)), None)
    found = next((w for w in branch.conditions if w in known), "") if branch else "other"
    return Passed(name, found, (branch.go if branch else step.otherwise) or "")


def _pass_words(name: str, step: Step, m: Measurement, said: str, loop: Loop) -> Passed:
    others = tuple(d.name for d in list_walked(m, loop) if d.name != m.at)
    for branch in step.branches:
        if any(is_met(parse_condition(c, m.kind), m, said, others) for c in branch.conditions):
            return Passed(name, said, branch.go, m)
    return Passed(name, said, step.otherwise or "", m)


def _pass_number(name: str, step: Step, m: Measurement, value: float, sound: Sound) -> Passed:
    limits = [
        (find_limits(parse_condition(c, m.kind), sound, m.unit), b.go) for b in step.branches for c in b.conditions
    ]
    ways = _Ways(tuple(limits), step.otherwise or "")
    beside = ways.find_beside(value)
    return Passed(
        name, value, ways.choose(value), m, beside, None if beside is None else abs(beside - value) / sound.sd
    )


@dataclass(frozen=True, slots=True)
class _Ways:
    """Where values lead: limits with their goals, first come first served, and where all others lead."""

    limits: tuple[tuple[Between, str], ...]
    otherwise: str

    def choose(self, value: float) -> str:
        """Return where a value (V or Ω, ``math.inf`` for OL) leads."""
        return next((goal for between, goal in self.limits if between.holds(value)), self.otherwise)

    def find_beside(self, value: float) -> float | None:
        """Return the nearest value (V or Ω) that leads elsewhere, or None."""
        if not np.isfinite(value):
            return None
        edges = {edge for between, _ in self.limits for edge in (between.low, between.high) if np.isfinite(edge)}
        beyond = [float(np.nextafter(edge, -np.inf)) if edge <= value else edge for edge in edges]
        others = [v for v in beyond if self.choose(v) != self.choose(value)]
        return min(others, key=lambda v: abs(v - value), default=None)


def find_sound(bench: Bench, m: Measurement) -> Sound:
    """Return what a measurement shows when nothing is wrong, and its spread with the meter's error."""
    (forecast,) = bench.narrow(np.array([0])).forecast_all([m])
    if forecast.mean is None:
        raise TypeError(f"{m.kind} gives a word, not a number")
    unit: Unit = "ohm" if m.kind == "ohms" else "V"
    value = float(forecast.mean[0])
    sd = float(np.hypot(forecast.spread[0], find_own_sd(min(value, bench.meter.ohms_over), unit, bench.meter)))
    return Sound(value, sd, _list_zone_bands(bench.loop, m))


def _list_zone_bands(loop: Loop, m: Measurement) -> tuple[tuple[str, float, float], ...]:
    watched: list[Zone | Channel] = [*loop.zones, *(loop.module.channels if loop.module else ())]
    pair = next((w for w in watched if (w.plus, w.minus) == (m.red, m.black)), None)
    if pair is None or m.kind != "volts":
        return ()
    return tuple((b.name.replace(" ", "_"), b.low_v, b.high_v) for b in pair.bands)


@dataclass(frozen=True, slots=True)
class History:
    """What is known when a guide is walked: the complaint, readings in order, answers to questions, keys left out."""

    symptom: str | None = None
    taken: tuple[Taken, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    skipped: frozenset[str] = frozenset()

    def __call__(self, name: str, _step: Step, measurement: Measurement | None) -> float | str | None:
        """Return the answer to a step, or None; the complaint itself is an answer."""
        if measurement is None:
            return self.answers.get(name)
        for t in keep_latest(self.taken):
            if t.measurement.set_up == measurement.set_up:
                return _turn(t, measurement)
        if measurement.key in self.skipped:
            return CANNOT
        return find_told(self.symptom, measurement)


def _turn(taken: Taken, m: Measurement) -> float | str:
    """Return a reading as the step's own leads would have shown it."""
    turned = not isinstance(taken.value, str) and m.kind == "volts" and taken.measurement.red != m.red
    return -taken.value if turned and not isinstance(taken.value, str) else taken.value


@lru_cache(maxsize=64)
def find_told(symptom: str | None, m: Measurement) -> str | None:
    """Return what the complaint itself says of a measurement, where that is one word."""
    if symptom is None:
        return None
    told = read_symptoms().symptoms[symptom]
    same = told.measurement == m.kind and m.at == "panel" and not told.of
    return told.tokens[0] if same and len(told.tokens) == 1 else None
