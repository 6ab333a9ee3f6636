"""What is made only when it is needed gives the very same answer as when everything is made."""

from collections.abc import Sequence
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from diagnostics.readings import Bench, Forecast, list_measurements, parse_measurement
from diagnostics.reasoning import (
    LEAST_BITS,
    Action,
    InformationPerMinute,
    Question,
    Situation,
    Taken,
    diagnose,
    find_groups,
    list_hypotheses,
    rate_information,
)
from diagnostics.reasoning.lazily import Lazily
from diagnostics.reasoning.verdict import LEAST_GROUP
from tests.sampling import sample
from tests.wiring.quick import wire_quick

STYLES = ["two_wire_zone", "four_wire_zone", "module_two_wire", "module_four_wire"]


class Spy:
    """A policy that chooses as always, and keeps what it was shown."""

    def __init__(self) -> None:
        """Keep nothing yet."""
        self.situation: Situation | None = None
        self.action: Action | None = None

    def choose(self, situation: Situation) -> Action:
        """Return the next action."""
        self.situation, self.action = situation, InformationPerMinute().choose(situation)
        return self.action


def ask(style: str, symptom: str, read: str) -> tuple[Bench, Question]:
    """Return a loop with a complaint, and perhaps the volts of its zone."""
    bench = Bench(wire_quick(style, 5), list_hypotheses(wire_quick(style, 5)))
    where = {"red": "panel.zone1+", "black": "panel.zone1-"}
    taken = (Taken(parse_measurement("volts", bench.loop, where), float(read)),) if read else ()
    return bench, Question(contexts=("new",), symptom=symptom, taken=taken)


@pytest.mark.parametrize(
    ("style", "symptom", "read"),
    sample(list(product(STYLES, ["constant_trouble", "none_report", "no_trouble_with_head_off"], ["", "23.4"])), 3),
)
def test_next_action_is_the_best_of_all(style: str, symptom: str, read: str) -> None:
    bench, question = ask(style, symptom, read)
    spy = Spy()
    found = diagnose(bench, question, spy)
    assert found.contradiction is None
    assert spy.situation is not None
    assert spy.action is not None
    bits = rate_information(spy.situation)
    pace = np.where(bits >= LEAST_BITS, bits / np.array(spy.situation.minutes), 0.0)
    assert spy.action.measurement == spy.situation.measurements[int(np.argmax(pace))]
    assert spy.action.bits == pytest.approx(bits.max(where=pace == pace.max(), initial=0.0), abs=1e-12)


@pytest.mark.parametrize(
    ("style", "symptom"), sample(list(product(STYLES, ["constant_trouble", "only_first_report"])), 3)
)
def test_groups_are_those_of_all_forecasts_of_all_hypotheses(style: str, symptom: str) -> None:
    bench, question = ask(style, symptom, "")
    spy = Spy()
    found = diagnose(bench, question, spy)
    assert spy.situation is not None
    kept = {faults for c in found.candidates for faults in [c.faults]}
    numbers = np.array([n for n, h in enumerate(bench.hypotheses) if h in kept])
    order = {c.faults: c.probability for c in found.candidates}
    probability = np.array([order[bench.hypotheses[n]] for n in numbers])
    keep = np.argsort(-probability, kind="stable")[: spy.situation.probability.size]
    narrow = bench.narrow(numbers[keep])

    def make_all(live: NDArray[np.intp]) -> Sequence[Forecast]:
        return [f.take(live) for f in narrow.forecast_all(list_measurements(bench.loop))]

    whole = find_groups([make_all], probability[keep], bench.meter)
    wanted = {frozenset(narrow.hypotheses[n] for n in g.members) for g in whole if g.probability >= LEAST_GROUP}
    assert {frozenset(g.members) for g in found.groups} == wanted


def test_value_is_made_once_and_only_when_asked_for() -> None:
    made: list[int] = []

    def make(numbers: Sequence[int]) -> list[int]:
        made.extend(numbers)
        return [n * n for n in numbers]

    values = Lazily(5, make)
    assert (len(values), made) == (5, [])
    assert (values[3], values[-1], values[1:3]) == (9, 16, (1, 4))
    assert list(values) == [0, 1, 4, 9, 16]
    assert sorted(made) == [0, 1, 2, 3, 4]
