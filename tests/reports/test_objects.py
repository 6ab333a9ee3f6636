"""JSON objects and explanations: numbers as they are promised, cautions with every repair, a reason with every step."""

import math

import pytest

from diagnostics.faults import list_faults
from diagnostics.readings import Bench, list_measurements
from diagnostics.reasoning import NOTHING, SYMPTOMS, Question, Taken, diagnose
from diagnostics.reports import Words, explain_next, list_expected, round_number, write_faults
from diagnostics.reports.objects import list_repair_cautions
from tests.reasoning.draw import ask, draw_readings, find_measurement, find_number, prepare_bench, read_middle
from tests.wiring.quick import STYLES, wire_quick

ZONE_V = "volts|panel.zone1+,panel.zone1-|standby"


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (math.inf, "OL"),
        (math.nan, None),
        (0.0, 0.0),
        (19.123456789012, 19.12345679),
        (-1e-30, -1e-30),
        (4700.0, 4700.0),
    ],
)
def test_number_is_rounded_over_range_is_ol_and_not_known_is_null(value: float, shown: float | str | None) -> None:
    assert round_number(value) == shown


def test_hypotheses_are_written_as_the_command_line_takes_them() -> None:
    loop = wire_quick("two_wire_zone", 3)
    assert write_faults(()) == "healthy"
    assert write_faults(list_faults(loop)[:2]) == ",".join(f.text for f in list_faults(loop)[:2])


@pytest.mark.parametrize("style", [*STYLES, "module_two_wire", "module_four_wire"])
def test_every_repair_brings_its_cautions(style: str) -> None:
    loop = wire_quick(style, 4)
    words = Words(loop)
    for fault in list_faults(loop):
        cautions = list_repair_cautions(fault.repair_class)
        assert {"outputs", "tell_people", "evidence_first"} <= set(cautions)
        assert ("out_of_service" in cautions) == fault.remedy.lifts
        at_a_detector = fault.repair_class[1].startswith(("det", "run det", "end"))
        assert ("ladder" in cautions) == at_a_detector
        assert "live_cabinet" in cautions or at_a_detector
        assert all(words.caution(c) for c in cautions)


def explain_all(bench: Bench, style: str) -> set[str]:
    """Walk a few faults and return every kind of action that was explained."""
    seen: set[str] = set()
    words = Words(bench.loop)
    texts = {"two_wire_zone": "conductor_open@det2.in+", "four_wire_zone": "supply_on_no@reset"}
    number = find_number(bench, texts[style])
    asked: list[Taken] = []
    for _ in range(20):
        found = diagnose(bench, Question(taken=tuple(asked)))
        told = explain_next(found, words)
        assert told.endswith(".")
        assert len(told) > 20
        assert "{" not in told
        if found.next is None or found.next.measurement is None:
            seen.add("nothing" if found.next is None else found.next.action)
            return seen
        seen.add("measure")
        asked += draw_readings(bench, number, [found.next.measurement], 3)
    pytest.fail("the walk does not end")


@pytest.mark.parametrize("style", STYLES)
def test_every_step_of_a_walk_says_why(style: str) -> None:
    assert explain_all(prepare_bench(style, 3), style) == {"measure", "repair"}


def test_reading_in_doubt_is_asked_for_again_in_words() -> None:
    bench = prepare_bench("two_wire_zone", 3)
    found = ask(bench, Taken(find_measurement(bench, ZONE_V), 35.0))
    assert "take it again" in explain_next(found, Words(bench.loop))


def test_nothing_left_to_measure_is_handed_on_in_words() -> None:
    bench = prepare_bench("four_wire_zone", 3)
    found = diagnose(bench, Question(can=frozenset(), skipped=frozenset(m.key for m in list_measurements(bench.loop))))
    assert found.next is not None
    assert found.next.action == "hand_over"
    assert "Hand the case on" in explain_next(found, Words(bench.loop))


def test_sound_loop_is_said_to_be_sound() -> None:
    loop = wire_quick("two_wire_zone", 3)
    bench = Bench(loop, [(), (list_faults(loop)[0],)])
    m = find_measurement(bench, ZONE_V)
    found = ask(bench, Taken(m, read_middle(bench, m, 0)))
    assert found.settled == NOTHING
    assert explain_next(found, Words(loop)).startswith("Nothing wrong now")


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("symptom", SYMPTOMS)
def test_answers_that_are_expected_are_told_once_each(style: str, symptom: str) -> None:
    bench = prepare_bench(style, 5)
    rows = list_expected(diagnose(bench, Question(symptom=symptom)), Words(bench.loop))
    assert rows
    assert len({shown for shown, _ in rows}) == len(rows)
    assert all(shown and cause for shown, cause in rows)


def test_answers_that_are_alike_are_one_line_and_the_others_are_told_too() -> None:
    """Found by trying: six opens stood as six ranges over the same volts, and nothing else was told."""
    bench = prepare_bench("two_wire_zone", 6)
    shown = Taken(find_measurement(bench, "panel_shows|panel|standby"), "trouble")
    rows = list_expected(ask(bench, shown, symptom="constant_trouble"), Words(bench.loop))
    assert len(rows) > 2
    (opens,) = [cause for _, cause in rows if "Open conductor" in cause]
    assert "more of that kind" in opens
    assert "End resistor missing" in opens
