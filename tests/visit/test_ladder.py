"""What else to read on the same ladder: only what adds to the suggested reading, and disturbs nothing."""

from dataclasses import replace

import pytest

from diagnostics.cases import Case, Reading, write_site
from diagnostics.locate import find_shipped
from diagnostics.reasoning import Action, InformationPerMinute, Question, Situation, diagnose
from diagnostics.visit import assess_case, build_bench, build_reading, find_beside, rate_added, simulate_reading
from diagnostics.visit.ladder import LEAST_ADDED_BITS, MOST_BESIDE
from diagnostics.wiring import Site, read_site

HIDDEN = ("conductor_open@det5.in+", "in_out_swapped@det3", "end_resistor_before_end@det5")


class Noting:
    """A policy that keeps what it was asked."""

    def choose(self, situation: Situation) -> Action:
        """Return what information per minute chooses."""
        self.situation = situation
        return InformationPerMinute().choose(situation)


def read(name: str) -> Site:
    return read_site(find_shipped("cases") / "sites" / f"{name}.yaml")


def walk(site: Site, hidden: str, steps: int = 8) -> list[Case]:
    """Return the case at every step of a visit that follows the suggestions."""
    case = Case(site, write_site(site), contexts=("new",), symptom="constant_trouble")
    seen = [case]
    for step in range(steps):
        assessment = assess_case(case)
        action = assessment.diagnosis.next
        if action is None or action.measurement is None:
            break
        text = simulate_reading(assessment.loop, hidden, action.measurement)
        reading: Reading = build_reading(action.measurement, text, f"r{step}")
        case = replace(case, readings=(*case.readings, reading))
        seen.append(case)
    return seen


@pytest.mark.parametrize("site", ["bakery", "boathouse"])
def test_list_is_of_one_place_short_and_disturbs_nothing(site: str) -> None:
    listed = 0
    for hidden in HIDDEN:
        for case in walk(read(site), hidden):
            found = assess_case(case)
            action = found.diagnosis.next
            if not found.beside:
                continue
            listed += 1
            assert action is not None
            assert action.measurement is not None
            assert len(found.beside) <= MOST_BESIDE
            assert {m.place for m in found.beside} == {action.measurement.place} != {"panel"}
            assert action.measurement.key not in {m.key for m in found.beside}
            assert not [m for m in found.beside if "put_back" in m.cautions or m.mode.text != "standby"]
    assert listed


def test_nothing_is_listed_beside_a_step_at_the_panel() -> None:
    first = assess_case(walk(read("bakery"), HIDDEN[0], 0)[0])
    assert first.diagnosis.next is not None
    assert first.diagnosis.next.measurement is not None
    assert first.diagnosis.next.measurement.place == "panel"
    assert first.beside == ()


def test_reading_adds_nothing_to_itself_and_something_to_another() -> None:
    noting = Noting()
    bench = build_bench(read("bakery"))
    diagnose(bench, Question(symptom="constant_trouble"), noting)
    some = [f.measurement for f in noting.situation.forecasts]
    look = next(m for m in some if m.key == "look|det8|standby")
    volts = next(m for m in some if m.key.startswith("volts|det8.in+"))
    assert rate_added(noting.situation, volts, volts) == 0
    assert rate_added(noting.situation, volts, look) > LEAST_ADDED_BITS


def test_reading_that_is_to_be_taken_again_stands_alone() -> None:
    noting = Noting()
    bench = build_bench(read("bakery"))
    diagnose(bench, Question(symptom="constant_trouble"), noting)
    m = next(f.measurement for f in noting.situation.forecasts if f.measurement.key == "look|det8|standby")
    assert find_beside(noting.situation, Action("measure", 1.0, m)) != ()
    assert find_beside(noting.situation, Action("measure", 1.0, m, again=True)) == ()
