"""The next action: information is what scipy makes of it, and what a person has and has done is kept to."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import entropy

from diagnostics.readings import Forecast, Measurement, list_measurements, read_table
from diagnostics.reasoning import (
    NOTHING,
    SYMPTOMS,
    Action,
    InformationPerMinute,
    Question,
    Situation,
    Taken,
    diagnose,
    find_information,
    rank_measurements,
)
from diagnostics.reasoning.belief import MIMICS
from diagnostics.reasoning.choose import LEAST_BITS, build_outcomes, find_best
from diagnostics.reasoning.lazily import Lazily
from tests.reasoning.draw import draw_readings, find_measurement, find_number, prepare_bench
from tests.sampling import sample
from tests.wiring.quick import STYLES

BENCHES = {style: prepare_bench(style, 3) for style in STYLES}


class Keep:
    """A policy that keeps the situation it was shown and hands over."""

    def __init__(self) -> None:
        """Start with nothing seen."""
        self.seen: list[Situation] = []

    def choose(self, situation: Situation) -> Action:
        """Keep the situation."""
        self.seen.append(situation)
        return Action("hand_over", 45.0)


def show_situation(style: str, symptom: str | None, *taken: Taken) -> Situation:
    keep = Keep()
    diagnose(BENCHES[style], Question(symptom=symptom, taken=taken), keep)
    return keep.seen[0]


@given(arrays(np.float64, st.tuples(st.integers(1, 6), st.integers(1, 6)), elements=st.floats(0, 10)))
@settings(max_examples=200, deadline=None)
def test_information_is_what_entropies_make_of_it(joint: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> None:
    if joint.sum() < 1e-6:
        joint = joint + 1.0
    apart = entropy(joint.sum(axis=1), base=2) + entropy(joint.sum(axis=0), base=2)
    assert find_information(joint) == pytest.approx(float(apart - entropy(joint.ravel(), base=2)), abs=1e-9)
    assert find_information(joint) >= 0


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", [None, *SYMPTOMS])
def test_information_of_every_measurement_is_what_entropies_make_of_it(style: str, symptom: str | None) -> None:
    situation = show_situation(style, symptom)
    told = {m.key: bits for m, bits, _ in rank_measurements(situation)}
    most = entropy([*np.bincount(situation.classes, situation.probability), situation.not_modelled], base=2)
    for told_of, shift in zip(situation.forecasts, situation.shifts, strict=True):
        chance = build_outcomes(told_of, *shift, situation.meter)
        assert chance.sum(axis=1) == pytest.approx(np.ones(chance.shape[0]), abs=1e-9)
        joint = np.zeros((situation.classes.max() + 2, chance.shape[1]))
        for row, which, p in zip(chance, situation.classes, situation.probability, strict=True):
            joint[which] += p * row
        as_the_rest = situation.probability @ chance / situation.probability.sum()
        joint[-1] = situation.not_modelled * (MIMICS * as_the_rest + (1 - MIMICS) / chance.shape[1])
        by_hand = (
            entropy(joint.sum(axis=1), base=2) + entropy(joint.sum(axis=0), base=2) - entropy(joint.ravel(), base=2)
        )
        assert told[told_of.measurement.key] == pytest.approx(float(by_hand), abs=1e-9)
        assert -1e-12 <= told[told_of.measurement.key] <= most + 1e-9


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", [None, *SYMPTOMS])
def test_first_step_tells_most_for_its_minutes(style: str, symptom: str | None) -> None:
    situation = show_situation(style, symptom)
    chosen = InformationPerMinute().choose(situation)
    best, bits, minutes = rank_measurements(situation)[0]
    assert (chosen.action, chosen.measurement, chosen.minutes) == ("measure", best, minutes)
    assert chosen.bits == pytest.approx(bits)


def build_situation(chances: list[list[list[float]]], minutes: tuple[float, ...]) -> Situation:
    """Return a situation of three equally likely faults and measurements of two words each."""
    measurements = [Measurement("lamp", at=f"det{n}") for n, _ in enumerate(chances, 1)]
    told = tuple(
        Forecast(m, tokens=("lit", "dark"), chance=np.array(c)) for m, c in zip(measurements, chances, strict=True)
    )
    zero = np.zeros(3)
    return Situation(
        probability=np.full(3, 1 / 3),
        not_modelled=0.0,
        classes=np.array([1, 2, 3]),
        forecasts=told,
        shifts=tuple((zero, zero) for _ in told),
        minutes=minutes,
        repair_minutes=(0.0, 5.0, 5.0, 5.0),
        settled=None,
        again=None,
        hand_over_minutes=45.0,
        meter=read_table().meter,
    )


def test_step_that_tells_next_to_nothing_is_not_chosen_for_being_quick() -> None:
    hint = [[0.5 + LEAST_BITS / 9, 0.5 - LEAST_BITS / 9], [0.5, 0.5], [0.5, 0.5]]
    split = [[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]]
    chosen = InformationPerMinute().choose(build_situation([hint, split], (1e-9, 100.0)))
    assert chosen.measurement is not None
    assert chosen.measurement.at == "det2"


def test_nothing_that_tells_and_no_leader_is_handed_over() -> None:
    flat = [[0.5, 0.5]] * 3
    level = build_situation([flat], (1.0,))
    low = replace(level, probability=np.full(3, 0.25), not_modelled=0.25)
    assert InformationPerMinute().choose(low).action == "hand_over"
    leading = replace(level, probability=np.array([0.6, 0.2, 0.2]))
    assert InformationPerMinute().choose(leading) == Action("repair", 5.0, repair=1)


@pytest.mark.parametrize(
    ("held", "vague", "tried"),
    [
        (0.80, 0.40, True),  # nearly a bit is open, and a minute tells a hundredth of one
        (0.80, 0.01, False),  # one reading of ten minutes all but tells
        (0.70, 0.40, False),  # holds too little
    ],
)
def test_repair_is_tried_where_to_be_sure_of_it_would_take_longer(held: float, vague: float, tried: bool) -> None:  # noqa: FBT001
    lamp = [[1 - vague, vague], [vague, 1 - vague], [vague, 1 - vague]]
    level = build_situation([lamp], (2.0 if vague > 0.1 else 10.0,))
    likely = replace(level, probability=np.array([held, (1 - held) / 2, (1 - held) / 2]))
    chosen = InformationPerMinute().choose(likely)
    assert (chosen.action == "repair") is tried
    assert tried is (chosen == Action("repair", 5.0, repair=1))


@pytest.mark.parametrize(
    ("held", "vague", "minutes", "tried"),
    [
        (0.94, 0.30, 2.0, True),  # in vain once in 17 times: no reading is worth more than 0.06 of 15 minutes
        (0.94, 0.30, 0.5, False),  # that quick it may save more than it takes
        (0.94, 0.01, 2.0, False),  # it would all but tell
        (0.88, 0.30, 2.0, False),  # not nearly settled
    ],
)
def test_nobody_walks_on_for_readings_that_could_not_save_their_minutes(
    held: float,
    vague: float,
    minutes: float,
    tried: bool,  # noqa: FBT001
) -> None:
    """No reading is worth more than what it could save.

    That is the expected value of perfect information (R. A. Howard, Information Value Theory, 1966; from memory).
    """
    lamp = [[1 - vague, vague], [vague, 1 - vague], [vague, 1 - vague]]
    likely = replace(build_situation([lamp], (minutes,)), probability=np.array([held, (1 - held) / 2, (1 - held) / 2]))
    chosen = InformationPerMinute().choose(likely)
    assert chosen.action == ("repair" if tried else "measure")


def test_nothing_to_repair_is_never_tried() -> None:
    hint = [[0.6, 0.4], [0.4, 0.6], [0.4, 0.6]]
    level = build_situation([hint], (20.0,))
    sound = replace(level, probability=np.array([0.8, 0.1, 0.1]), classes=np.array([0, 1, 2]))
    assert InformationPerMinute().choose(sound).action == "measure"


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize(
    "can", [set(), {"meter"}, {"ladder"}, {"meter", "ladder"}, {"tester", "ladder"}, {"meter", "resistor", "tester"}]
)
def test_what_a_person_does_not_have_is_never_asked_for(style: str, can: set[str]) -> None:
    bench = BENCHES[style]
    for symptom in (None, "constant_trouble", "will_not_reset"):
        asked = Question(symptom=symptom, can=frozenset(can))
        for _ in range(4):
            found = diagnose(bench, asked)
            if found.next is None or found.next.measurement is None:
                break
            assert found.next.measurement.tools <= can
            (taken,) = draw_readings(bench, 5, [found.next.measurement], 1)
            asked = replace(asked, taken=(*asked.taken, taken))


@pytest.mark.parametrize("style", STYLES)
def test_what_a_person_will_not_do_is_never_asked_for(style: str) -> None:
    bench = BENCHES[style]
    skipped: frozenset[str] = frozenset()
    for _ in range(6):
        found = diagnose(bench, Question(symptom="constant_trouble", skipped=skipped))
        assert found.next is not None
        assert found.next.measurement is not None
        assert found.next.measurement.key not in skipped
        skipped |= {found.next.measurement.key}


FAULTS = {
    "two_wire_zone": [
        "",
        "end_resistor_missing@end",
        "conductor_open@det2.in+",
        "leak=1k@det3.in",
        "detector_dead@det2",
        "joint_resistive=3k@det2.in-",
    ],
    "four_wire_zone": [
        "",
        "supply_on_no@reset",
        "reset_bypassed@reset",
        "pair_short@det2.in_contact",
        "polarity_reversed@det3",
    ],
}


@pytest.mark.parametrize(("style", "fault"), [(s, f) for s, faults in FAULTS.items() for f in faults])
@pytest.mark.parametrize("seed", sample([1, 2], 2))
def test_walk_repeats_no_set_up_and_ends(style: str, fault: str, seed: int) -> None:
    """Follow every suggestion until nothing more is asked: each set-up once, but for one that is doubted."""
    bench = BENCHES[style]
    number = find_number(bench, fault)
    asked: list[Measurement] = []
    taken: list[Taken] = []
    for _ in range(40):
        found = diagnose(bench, Question(taken=tuple(taken)))
        if found.next is None or found.next.measurement is None:
            break
        m = found.next.measurement
        done = [t.measurement.set_up for t in taken]
        assert done.count(m.set_up) == (1 if found.next.again else 0)
        asked.append(m)
        taken = draw_readings(bench, number, asked, seed)  # the same draw of the unknowns, one reading more
    assert found.next is None or found.next.action in {"repair", "hand_over"}
    assert (found.next is None) == (found.settled == NOTHING)
    assert found.contradiction is None


def test_measurement_that_nobody_can_do_is_not_ranked() -> None:
    bench = BENCHES["two_wire_zone"]
    taken = Taken(find_measurement(bench, "panel_shows|panel|standby"), "trouble")
    ranked = rank_measurements(show_situation("two_wire_zone", None, taken))
    today = {m.key for m in list_measurements(bench.loop) if not m.data.nights}
    assert {m.key for m, _, _ in ranked} == today - {taken.measurement.key}


def test_a_reading_that_tells_no_fault_from_another_is_not_taken_for_what_is_not_modelled_alone() -> None:
    """Found on two faults at once: looks at all heads, each as expected, went before a repair that nothing told of."""
    situation = replace(build_situation([[[0.99, 0.01]] * 3], (1.0,)), probability=np.full(3, 0.32), not_modelled=0.04)
    assert find_best(situation) is None


LONG = 30  # detectors: more places than are asked all at once
TOLD: tuple[tuple[str, tuple[tuple[str, float | str], ...]], ...] = (
    ("constant_trouble", ()),
    ("constant_trouble", (("volts|panel.zone1+,panel.zone1-|standby", 22.6),)),
    ("only_first_report", (("panel_shows|panel|standby", "normal"),)),
    ("detectors_dark", (("volts|panel.zone1+,panel.zone1-|standby", 20.0), ("lamp|det15|standby", "dark"))),
)


@pytest.mark.parametrize(("symptom", "readings"), TOLD)
def test_on_a_long_loop_a_few_places_are_asked_and_none_would_have_told_much_more(
    symptom: str, readings: tuple[tuple[str, float | str], ...]
) -> None:
    bench = prepare_bench("two_wire_zone", LONG)
    taken = tuple(Taken(find_measurement(bench, key), value) for key, value in readings)
    keep = Keep()
    diagnose(bench, Question(symptom=symptom, taken=taken), keep)
    (situation,) = keep.seen
    best = find_best(situation)
    assert best is not None
    number, bits = best
    assert isinstance(situation.forecasts, Lazily)
    assert len(situation.forecasts.made) < 0.7 * len(situation.measurements)
    most = max(told / minutes for _, told, minutes in rank_measurements(situation))
    assert bits / situation.minutes[number] >= 0.97 * most
