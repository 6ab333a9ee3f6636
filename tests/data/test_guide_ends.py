"""Each end of each shipped finding guide is reached by a worked case whose planted fault it names.

Outside world: the readings come from netlists typed by hand and solved by ngspice (``test_worked_cases``), not from the
model that proves the guides. Only what was read counts here: questions are answered as on a usual day, and a step whose
answer the model takes as certain is not passed.
"""

import re
from functools import cache
from pathlib import Path

import pytest

from diagnostics.cases import read_case
from diagnostics.trees import History, Walk, read_shipped, walk
from diagnostics.visit import build_bench, list_usual_answers, understand

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.yaml"))
PLANTED = re.compile(r"with ([a-z_]+)\S* planted")
NO_BATTERY = "the netlists typed by hand know no battery and no charger"
NO_WORLD = "the worlds of worked cases play no class A link and no dry contacts; the netlists typed by hand do"
NO_CASE = {  # at most eleven, each with its reason
    ("constant_trouble", "break_in_ring"): NO_WORLD,
    ("will_not_reset", "held_closed"): NO_WORLD,
    ("supply_trouble", "mains"): NO_BATTERY,
    ("supply_trouble", "charger"): NO_BATTERY,
    ("supply_trouble", "battery"): NO_BATTERY,
    ("wrong_zone_reports", "setting"): "the netlists typed by hand know no zone of the wrong kind",
    ("wrong_zone_reports", "outputs"): "exchanged outputs end in a repair that is likelier, not in one that is settled",
    (
        "no_trouble_with_head_off",
        "loaded",
    ): "no leak typed by hand keeps the zone normal without a head",
    ("no_trouble_with_head_off", "unwatched"): "no fault is there to plant: nothing watches the site, told as a defect",
    ("will_not_reset", "always_fed"): "no fault is there to plant: the site itself feeds for ever, told as a defect",
    ("constant_trouble", "supply_path.switched_output"): (
        "before it the guide reads the auxiliary output, which tells nothing of a switched one, so the program passes "
        "that step unread; its case is sawmill_dead_output.yaml, which stops one step before"
    ),
}
ENDS = sorted((s, end) for s, guide in read_shipped().items() for end, told in guide.ends.items() if not told.stop)


@cache
def walk_cases(symptom: str) -> tuple[tuple[str, str, Walk], ...]:
    """Return name, kind of the planted fault and walk of every case of a symptom."""
    guide, found = read_shipped()[symptom], []
    for path in CASES:
        case = read_case(path)
        planted = PLANTED.search(path.read_text("utf-8"))
        if case.symptom == symptom and planted:
            bench = build_bench(case.site)
            taken = tuple(understand(bench.loop, reading) for reading in case.readings)
            walked = walk(guide, bench, History(symptom, taken, list_usual_answers(guide)))
            found.append((path.stem, planted[1], walked))
    return tuple(found)


def list_witnesses(symptom: str, end: str) -> list[str]:
    """Return the cases that reach an end which names their fault; one of another guide serves for a shared part."""
    symptoms = [s for s, guide in sorted(read_shipped().items()) if end in guide.ends] if "." in end else [symptom]
    return [
        name
        for each in symptoms
        for name, kind, walked in walk_cases(each)
        if walked.reached == "end" and walked.at == end and kind in read_shipped()[each].ends[end].suspects
    ]


def is_excused(symptom: str, end: str) -> bool:
    return (symptom, end) in NO_CASE or ("." in end and any(end == other for _, other in NO_CASE))


@pytest.mark.parametrize(("symptom", "end"), ENDS)
def test_end_is_reached_by_a_case_whose_fault_it_names(symptom: str, end: str) -> None:
    if is_excused(symptom, end):
        assert list_witnesses(symptom, end) == [], "it has a case now: take it out of the table"
    else:
        assert list_witnesses(symptom, end)


def test_hardly_any_end_is_excused() -> None:
    assert len(NO_CASE) <= 11
    assert set(NO_CASE) <= set(ENDS)


@pytest.mark.parametrize("symptom", sorted(read_shipped()))
def test_no_case_is_led_to_an_end_that_does_not_name_its_fault(symptom: str) -> None:
    guide = read_shipped()[symptom]
    ended = [(name, kind, walked.at) for name, kind, walked in walk_cases(symptom) if walked.reached == "end"]
    assert ended or all(is_excused(symptom, end) for end in guide.ends)
    assert [row for row in ended if row[1] not in guide.ends[row[2]].suspects] == []
