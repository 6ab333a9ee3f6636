"""How long the first and the next suggestion take, beside wiring up and settling every fault of that loop once.

Never a timed test: machines differ and are busy. The figures are for reports.
"""

import math
import time
from dataclasses import dataclass, replace

from diagnostics.faults import list_faults
from diagnostics.readings import Bench, Faults, Measurement
from diagnostics.reasoning import Diagnosis, Expected, Question, Taken, diagnose, list_hypotheses
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


def _measure_style(style: str, detectors: int) -> SuggestionRow:
    answers = QuickDescription(style, str(detectors), "4.7k", "18 AWG", "10 m", end_relay="yes")
    loop = build_loop(build_quick_site(answers)[0])
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
