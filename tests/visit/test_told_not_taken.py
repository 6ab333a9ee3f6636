"""What was told with a complaint is a reading that nobody of this visit took: it disturbs nothing and wipes nothing.

Cases are invented.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics.cases import Body, Case, CaseStore, ProofResult, Reading, write_site
from diagnostics.locate import find_shipped
from diagnostics.visit import (
    FUNCTIONAL,
    HEAD_OFF,
    ProofItem,
    fail_test,
    find_disturbances,
    find_met_at,
    list_proof,
    list_read_cautions,
    open_case,
    record_reading,
    record_repair,
    record_test,
    tell_complaint,
    tell_met,
)
from diagnostics.visit.assess import build_case_bench, build_question
from diagnostics.wiring import build_loop, read_site

HEAD, REPORT = "no_trouble_with_head_off", "one_does_not_report"


@pytest.fixture
def case(store: CaseStore) -> Case:
    """Return an invented case at its beginning."""
    site = read_site(find_shipped("cases") / "sites" / "bakery.yaml")
    return open_case(store, Case(site, write_site(site)))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[CaseStore]:
    """Return an empty store."""
    with CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}") as opened:
        yield opened


def complain(store: CaseStore, case: Case, symptom: str, at: str) -> Case:
    case = tell_complaint(store, case, symptom, (), None)
    return tell_met(store, case, symptom, at)


def list_read(case: Case) -> list[tuple[str, str, str]]:
    return [(r.measurement, r.at, r.value) for r in case.readings]


def test_what_was_told_stands_off_nothing_and_counts_as_no_step_of_the_visit(store: CaseStore, case: Case) -> None:
    case = complain(store, case, HEAD, "det3")
    loop = build_loop(case.site)
    assert list_read(case) == [("head_off", "det3", "normal")]
    assert find_disturbances(case, loop) == ()
    assert not list_read_cautions(case, loop) & {"put_back", "out_of_service", "ladder"}
    assert build_question(case, build_case_bench(case)).standing_at == "panel"
    assert "touched" not in {why for item in list_proof(case, loop) for why in item.reasons}


def test_telling_it_anew_leaves_what_somebody_has_read(store: CaseStore, case: Case) -> None:
    read = Reading("head_off", "normal", at="det2", mode="head_off:det2")
    case = record_reading(store, tell_complaint(store, case, HEAD, (), None), read)
    assert find_met_at(case, HEAD) == "", "nobody told it"
    for at in ("", "det2", ""):
        case = tell_met(store, case, HEAD, at)
        assert list_read(case) == [("head_off", "det2", "normal")]
    assert len(find_disturbances(case, build_loop(case.site))) == 1
    case = tell_met(store, case, HEAD, "det4")
    assert list_read(case) == [("head_off", "det2", "normal"), ("head_off", "det4", "normal")]


def test_told_again_after_a_repair_it_is_no_new_test(store: CaseStore, case: Case) -> None:
    case = complain(store, case, REPORT, "det3")
    case = record_repair(store, case, "swap_detector@det3", cured=False)
    assert list_read(tell_met(store, case, REPORT, "det3")) == [("functional_test", "det3", "no_report")]


def test_another_complaint_takes_away_what_was_told_of_the_first(store: CaseStore, case: Case) -> None:
    case = complain(store, case, REPORT, "det3")
    case = complain(store, case, "constant_trouble", "")
    assert list_read(case) == []
    case = complain(store, case, HEAD, "det5")
    assert list_read(case) == [("head_off", "det5", "normal")]


def test_a_failed_test_told_otherwise_is_what_was_told_last(store: CaseStore, case: Case) -> None:
    case = record_repair(store, case, "fit_end_resistor@end", cured=True)
    loop = build_loop(case.site)

    def find() -> ProofItem:
        return next(i for i in list_proof(case, loop) if i.test == FUNCTIONAL)

    case = fail_test(store, case, find(), showed="no_report")
    case = fail_test(store, case, find(), showed="reports_and_stays", why="lamp stayed red")
    assert [r.value for r in case.readings] == ["reports_and_stays"]
    assert find().result == ProofResult(
        FUNCTIONAL, done=False, noted_at=case.tests[-1].noted_at, at=find().at, why="lamp stayed red", failed=True
    )
    again = fail_test(store, case, find(), showed="reports_and_stays", why="lamp stayed red")
    assert again.revision == case.revision, "the same again adds nothing"
    case = record_test(store, case, find(), done=True)
    assert case.readings == (), "it had not failed, so it showed nothing"
    assert replace(find(), result=None) == ProofItem(FUNCTIONAL, find().at, find().reasons)


def test_a_failed_test_and_what_it_showed_are_one_act_and_so_is_what_takes_them_back(
    store: CaseStore, case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = complain(store, case, HEAD, "det3")
    case = record_repair(store, case, "fit_end_resistor@end", cured=True)
    acts: list[int] = []
    begun = case.revision
    append = CaseStore.append_act

    def count(self: CaseStore, case_id: str, bodies: Sequence[Body], revision: int) -> Case:
        acts.append(len(bodies))
        return append(self, case_id, bodies, revision)

    monkeypatch.setattr(CaseStore, "append_act", count)
    item = next(i for i in list_proof(case, build_loop(case.site)) if i.test == FUNCTIONAL)
    case = fail_test(store, case, item, showed="no_report")
    failed = next(i for i in list_proof(case, build_loop(case.site)) if i.test == FUNCTIONAL)
    case = record_test(store, case, failed, done=True)
    assert case.revision == begun + sum(acts), "nothing was stored beside these acts"
    case = tell_met(store, case, REPORT, "det5")
    assert acts == [2, 2, 1]


def test_a_failed_test_told_of_another_head_is_no_longer_one_of_the_first(store: CaseStore, case: Case) -> None:
    case = record_repair(store, case, "fit_end_resistor@end", cured=True)
    for at in ("det3", "det5"):
        item = next(i for i in list_proof(case, build_loop(case.site)) if i.test == HEAD_OFF)
        case = fail_test(store, case, replace(item, at=at), showed="normal")
        assert list_read(case) == [("head_off", at, "normal")]
    assert [r.reading.at for r in case.retracted] == ["det3"]
