"""How long the first and the next suggestion take, beside wiring up and settling every fault of that loop once.

Never a timed test: machines differ and are busy. The figures are for reports.
"""

import math
import time
from dataclasses import dataclass, replace

import numpy as np

from diagnostics.faults import list_faults
from diagnostics.readings import Bench, Faults, Forecast, Measurement, list_measurements, read_table
from diagnostics.reasoning import (
    SYMPTOMS,
    Diagnosis,
    Expected,
    InformationPerMinute,
    PlanAhead,
    Question,
    Situation,
    Taken,
    diagnose,
    list_hypotheses,
)
from diagnostics.units import OVER
from diagnostics.wiring import Loop, QuickDescription, Style, build_loop, build_quick_site

STEPS = 3
_SYMPTOM = "constant_trouble"


@dataclass(frozen=True, slots=True)
class SuggestionRow:
    """One loop: seconds to settle all its faults once, to the first suggestion, and to the slowest of the next three.

    ``ahead_s`` is the slowest of the next three where the likely answers had been reckoned while a person read.
    """

    style: str
    detectors: int
    settling_s: float
    first_s: float
    next_s: float
    ahead_s: float

    @property
    def first_ratio(self) -> float:
        """Return how many times as long as settling all faults the first suggestion takes."""
        return self.first_s / self.settling_s

    @property
    def next_ratio(self) -> float:
        """Return how many times as long as settling all faults the slowest of the next suggestions takes."""
        return self.next_s / self.settling_s

    @property
    def ahead_ratio(self) -> float:
        """Return the same with the likely answers reckoned ahead."""
        return self.ahead_s / self.settling_s


def measure_suggestions(detectors: int = 20) -> tuple[SuggestionRow, ...]:
    """Time a visit on a loop of each style with an open conductor half way; every loop is new to the program."""
    return tuple(_measure_style(str(style), detectors) for style in Style)


@dataclass(frozen=True, slots=True)
class ComplaintRow:
    """One complaint of a loop that is new to the program: seconds to settle all faults once, and to the suggestion."""

    complaint: str
    hypotheses: int
    measurements: int
    settling_s: float
    first_s: float

    @property
    def first_ratio(self) -> float:
        """Return how many times as long as settling all faults the first suggestion takes."""
        return self.first_s / self.settling_s


def measure_complaints(style: str = "module_four_wire", detectors: int = 12) -> tuple[ComplaintRow, ...]:
    """Time the first suggestion of every complaint on one loop, anew for each."""
    loop = _build(style, detectors)
    count = len(list_measurements(loop))
    rows = []
    for complaint in SYMPTOMS:
        hypotheses = list_hypotheses(loop)
        begun = time.perf_counter()
        bench = Bench(loop, hypotheses)
        settled = time.perf_counter()
        diagnose(bench, Question(contexts=("new",), symptom=complaint))
        ended = time.perf_counter()
        rows.append(ComplaintRow(complaint, len(hypotheses), count, settled - begun, ended - settled))
    return tuple(rows)


def _build(style: str, detectors: int) -> Loop:
    answers = QuickDescription(style, str(detectors), "4.7k", "18 AWG", "10 m", end_relay="yes")
    return build_loop(build_quick_site(answers)[0])


def _measure_style(style: str, detectors: int) -> SuggestionRow:
    loop = _build(style, detectors)
    opens = [f for f in list_faults(loop) if f.kind == "conductor_open"]
    hidden = (opens[len(opens) // 2],)
    begun = time.perf_counter()
    bench = Bench(loop, list_hypotheses(loop))
    settling_s = time.perf_counter() - begun
    first_s, next_s = _visit(bench, hidden, ahead=False)
    return SuggestionRow(
        style, detectors, settling_s, first_s, next_s, _visit(Bench(loop, list_hypotheses(loop)), hidden, ahead=True)[1]
    )


def _visit(bench: Bench, hidden: Faults, *, ahead: bool) -> tuple[float, float]:
    """Return the seconds to the first suggestion, and to the slowest of the next."""
    question, taken_s = Question(contexts=("new",), symptom=_SYMPTOM), list[float]()
    for _ in range(STEPS + 1):
        begun = time.perf_counter()
        found = diagnose(bench, question)
        taken_s.append(time.perf_counter() - begun)
        m = found.next.measurement if found.next else None
        if m is None:
            break
        if ahead:
            _reckon_ahead(bench, question, m, found)
        question = replace(question, taken=(*question.taken, Taken(m, _answer(bench.loop, hidden, m))))
    return taken_s[0], max(taken_s[1:], default=0.0)


def _reckon_ahead(bench: Bench, question: Question, m: Measurement, found: Diagnosis) -> None:
    """Do what the app does while a person reads: find what each answer that is expected would mean."""
    for value in dict.fromkeys(_find_value(e) for e in found.expected):
        diagnose(bench, replace(question, taken=(*question.taken, Taken(m, value))))


def _find_value(expected: Expected) -> float | str:
    if expected.state is not None or expected.low is None or expected.high is None:
        return expected.state or ""
    middle = 0.5 * (expected.low + expected.high)
    return middle if math.isfinite(middle) else OVER


def _answer(loop: Loop, hidden: Faults, m: Measurement) -> float | str:
    """Return what a measurement shows with this fault in the loop."""
    (forecast,) = Bench(loop, [hidden]).forecast_all([m])
    if forecast.chance is not None:
        return forecast.tokens[int(forecast.chance[0].argmax())]
    if forecast.mean is None:
        raise TypeError("a forecast has either numbers or words")
    return float(forecast.mean[0])


def measure_choice(hypotheses: int = 1200, measurements: int = 200) -> tuple[float, float]:
    """Return the seconds to choose the next step, one step ahead and with a plan, of drawn forecasts that are there.

    Half of them are words, half volts; 40 hypotheses carry nearly all, so that a plan is made.
    """
    situation = _draw_situation(hypotheses, measurements)
    found = []
    for policy in (InformationPerMinute(), PlanAhead()):
        policy.choose(situation)
        begun = time.perf_counter()
        policy.choose(situation)
        found.append(time.perf_counter() - begun)
    return found[0], found[1]


def _draw_situation(hypotheses: int, measurements: int) -> Situation:
    rng, zero, live = np.random.default_rng(1), np.zeros(hypotheses), min(40, hypotheses)
    levels_v = np.array([0.0, 5.0, 9.0, 19.0, 19.5, 24.0])
    told = []
    for n in range(measurements):
        words = tuple(f"word{k}" for k in range(int(rng.integers(2, 6))))
        lamp = Forecast(
            Measurement("lamp", at=f"det{n}"), tokens=words, chance=rng.dirichlet([0.2] * len(words), hypotheses)
        )
        at = Measurement("volts", red=f"det{n}.in+", black=f"det{n}.in-")
        told.append(
            lamp if n % 2 else Forecast(at, mean=rng.choice(levels_v, hypotheses), slopes=np.zeros((3, hypotheses)))
        )
    share = np.where(np.arange(hypotheses) < live, 0.975 / live, 0.005 / max(hypotheses - live, 1))
    classes = hypotheses // 2
    return Situation(
        probability=share,
        not_modelled=0.02,
        classes=rng.integers(1, classes + 1, hypotheses),
        forecasts=tuple(told),
        shifts=tuple((zero, zero + 0.1) for _ in told),
        minutes=tuple(float(m) for m in rng.uniform(1, 9, measurements)),
        repair_minutes=(0.0, *(8.0,) * classes),
        settled=None,
        again=None,
        hand_over_minutes=45.0,
        meter=read_table().meter,
    )
