"""The record of a case that is handed on: what is suspected, what was ruled out by which reading, what is next."""

import re
from pathlib import Path

import pytest

from diagnostics.cases import Case, CaseStore, Reading
from diagnostics.reports import Words, list_suspects, render_record
from diagnostics.visit import assess_case, close_case, list_ruled_out, record_reading, record_repair
from tests.screens.real_work import describe

SHOWN = Reading("panel_shows", "trouble", at="panel")
OPEN_VOLTS = Reading("volts", "23.2 V", red="panel.zone1+", black="panel.zone1-")


@pytest.fixture
def store(tmp_path: Path) -> CaseStore:
    return CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}")


@pytest.fixture
def left(store: CaseStore) -> Case:
    case = describe(store)
    for reading in (SHOWN, OPEN_VOLTS):
        case = record_reading(store, case, reading)
    return close_case(store, case, "waiting", note="a resistor, until Friday", by="Ada")


def read(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page))


def test_record_of_a_waiting_case_names_suspects_with_shares_and_the_next_step(left: Case) -> None:
    page, assessment = read(render_record(left)), assess_case(left, guided=True)
    words = Words(assessment.loop)
    rows = list_suspects(assessment.diagnosis, words)
    assert len(rows) > 1
    for share, suspect in rows:
        assert f"{share} {suspect}" in page
    assert assessment.diagnosis.next is not None
    m = assessment.diagnosis.next.measurement
    assert m is not None
    assert f"Next step {words.ask(m)}" in page


def test_record_says_which_reading_ruled_out_what(left: Case) -> None:
    assessment = assess_case(left, guided=True)
    found = list_ruled_out(assessment)
    assert [item.number for item in found] == sorted({item.number for item in found})
    words, page = Words(assessment.loop), read(render_record(left))
    volts = next(item for item in found if item.reading.measurement == "volts")
    assert volts.share > 0.05
    assert f"Reading {volts.number}, Volts: red on zone 1 +, black on zone 1 −: 23.2 V - ruled out" in page
    assert words.faults(volts.suspects[0]) in page
    kinds = {fault.kind for faults in volts.suspects for fault in faults}
    assert "pair_short" in kinds or "end_resistor_wrong" in kinds  # volts of an open loop leave neither
    now = {c.faults: c.probability for c in assessment.diagnosis.candidates}
    assert all(now.get(faults, 0.0) <= 0.005 for item in found for faults in item.suspects)


def test_suspect_is_ruled_out_once(left: Case) -> None:
    every = [faults for item in list_ruled_out(assess_case(left)) for faults in item.suspects]
    assert len(every) == len(set(every))


def test_case_that_came_to_an_end_has_no_open_search(store: CaseStore, left: Case) -> None:
    assert "Where the search stands" in render_record(left)
    mended = record_repair(store, left, "fit_end_resistor@end", cured=True)
    assert "Where the search stands" not in render_record(mended)


def test_case_with_volts_that_no_loop_has_names_no_next_step(store: CaseStore) -> None:
    mains = Reading("volts", "230 V", red="panel.zone1+", black="panel.zone1-")
    case = record_reading(store, describe(store), mains)
    assert "Next step None. What was read or answered is a stop." in read(render_record(case))
