"""Before a repair, a reading that what is settled on could only have as a mistake is taken again.

Found by the referee: a stuck detector was settled on although nobody saw its lamp in alarm, since two faults at once,
a twelfth as likely, explained the lamp.
"""

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.faults import parse_faults
from diagnostics.locate import find_shipped
from diagnostics.readings import Bench
from diagnostics.reasoning import Belief, Contradiction, Diagnosis, Question, Taken, diagnose, list_hypotheses, verdict
from diagnostics.reasoning.told import Weighed, find_misfit
from diagnostics.wiring import build_loop, read_site
from tests.reasoning.draw import find_measurement

LOOP = build_loop(read_site(find_shipped("cases") / "sites" / "bench_two_wire.yaml"))
BENCH = Bench(LOOP, list_hypotheses(LOOP))
LAMPS = Taken(find_measurement(BENCH, "which_lit|loop|standby"), "none")
LOOK = Taken(find_measurement(BENCH, "look|det5|standby"), "as_it_should_be")


def find(faults: list[str], shares: list[float], tails: list[float], *taken: Taken, chosen: int) -> int | None:
    """Return the number of the reading that is doubted, of one told as ``taken`` says, last reading's tails given."""
    bench = Bench(LOOP, [parse_faults(text, LOOP) for text in faults])
    count, unknowns = len(faults), bench.count_unknowns
    belief = Belief(np.array(shares), 0.01, np.zeros((count, unknowns)), np.zeros((count, unknowns, unknowns)))
    told = Weighed(bench, belief, None, taken[-1:], np.array([tails]))
    found = find_misfit(told, Question(contexts=("aged",), taken=taken), np.arange(count) < chosen)
    return None if found is None else found.reading


STUCK = ["detector_stuck@det5", "end_resistor_missing@end,detector_stuck@det5", "leak=1k@det5.in"]


def test_what_most_of_the_settled_could_only_have_as_a_mistake_is_doubted() -> None:
    assert find(STUCK, [0.88, 0.08, 0.03], [0.0, 0.9, 0.9], LAMPS, chosen=2) == 0


def test_what_most_of_the_settled_explain_is_believed() -> None:
    assert find(STUCK, [0.08, 0.88, 0.03], [0.0, 0.9, 0.9], LAMPS, chosen=2) is None


def test_only_what_is_settled_on_is_asked() -> None:
    assert find(STUCK, [0.88, 0.08, 0.03], [0.9, 0.9, 0.0], LAMPS, chosen=2) is None


@pytest.mark.parametrize(("tail", "doubted"), [(1e-4, None), (1e-7, 1)])
def test_what_stands_when_it_is_taken_again_may_be_rarer(tail: float, doubted: int | None) -> None:
    assert find(STUCK, [0.96, 0.01, 0.02], [tail, 0.9, 0.9], LAMPS, LAMPS, chosen=1) == doubted


PAIR = ["end_resistor_wrong=10k@end,leak=1k@det3.in", "end_resistor_wrong=10k@end"]


def test_what_nearly_all_would_have_found_is_doubted_and_two_at_once_sooner() -> None:
    """Where 20 lookers of 100 see nothing it is enough for one fault, not for two, which bend to nearly anything."""
    assert find(PAIR, [0.95, 0.03], [0.2, 0.2], LOOK, chosen=1) == 0
    assert find(PAIR[::-1], [0.95, 0.03], [0.2, 0.2], LOOK, chosen=1) is None
    assert find(PAIR[::-1], [0.95, 0.03], [0.15, 0.15], LOOK, chosen=1) == 0


def ask_about_lamps(lit: str) -> Diagnosis:
    """Return what is made of volts as a stuck last detector gives them, and of which lamps show alarm."""
    stuck = BENCH.narrow(np.flatnonzero([h == parse_faults("detector_stuck@det5", LOOP) for h in BENCH.hypotheses]))
    keys = ["panel.zone1+,panel.zone1-|standby", "det4.in+,det4.in-|opened:det4", "det5.in+,det5.in-|standby"]
    volts = stuck.forecast_all([find_measurement(BENCH, f"volts|{key}") for key in keys])
    taken = [Taken(f.measurement, round(float(f.mean[0]), 2)) for f in volts if f.mean is not None]
    asked = Question(contexts=("aged",), symptom="alarm_with_nothing_there", taken=(*taken, replace(LAMPS, value=lit)))
    return diagnose(BENCH, asked)


def test_a_doubted_reading_is_asked_for_again_and_nothing_is_settled(monkeypatch: pytest.MonkeyPatch) -> None:
    sure = ask_about_lamps("det5")
    assert sure.settled == ("clean_detector", "det5")
    monkeypatch.setattr(verdict, "find_misfit", lambda *_: Contradiction(3, 0.0))
    found = ask_about_lamps("det5")
    assert found.settled is None
    assert found.contradiction == Contradiction(3, 0.0)
    assert found.next is not None
    assert found.next.again
    assert found.next.measurement == LAMPS.measurement
