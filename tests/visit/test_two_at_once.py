"""Two people, or two tabs, on one case: whatever either says is stored, or refused in so many words."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from diagnostics.cases import Baseline, Case, CaseStore, Reading, write_site
from diagnostics.errors import CaseChangedError, DiagnosticsError
from diagnostics.readings import list_measurements
from diagnostics.visit import (
    ProofItem,
    accept_loop,
    acknowledge,
    answer_baseline,
    answer_guide,
    choose_lead,
    close_case,
    come_back,
    correct_reading,
    deny_cure,
    describe_site,
    extend_test,
    finish_tests,
    hand_over,
    keep_baseline,
    lack_tool,
    list_proof,
    pass_tests,
    put_back,
    record_reading,
    record_readings,
    record_recheck,
    record_repair,
    record_test,
    reopen_case,
    skip_measurements,
    skip_place,
    start_clock,
    take_back_reading,
    take_back_repair,
    tell_complaint,
    tell_loop,
    tell_people,
    tell_place,
    tell_rooms,
)
from diagnostics.wiring import QuickDescription, build_loop, build_quick_site
from tests.screens.real_work import describe

Deed = Callable[[CaseStore, Case], Case]
SHOWN = Reading("panel_shows", "trouble", at="panel", reading_id="a" * 32)
VOLTS = Reading("volts", "23.2 V", red="panel.zone1+", black="panel.zone1-", reading_id="b" * 32)
ALARM = replace(SHOWN, value="alarm", reading_id="c" * 32)
LAMP = Reading("lamp", "dark", at="det3", reading_id="d" * 32)
KEY = "panel_shows|panel|standby"


@pytest.fixture
def store(tmp_path: Path) -> CaseStore:
    return CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}")


def at_work(store: CaseStore) -> Case:
    return record_reading(store, describe(store), SHOWN)


def at_proof(store: CaseStore) -> Case:
    return record_repair(store, at_work(store), "fit_end_resistor@end", cured=True)


def at_end(store: CaseStore) -> Case:
    case = at_proof(store)
    for item in list_proof(case, build_loop(case.site)):
        case = record_test(store, case, item, done=False, why="no tester here")
    return case


def closed(store: CaseStore) -> Case:
    return close_case(store, at_work(store), "waiting", note="a spare part")


def without_order(store: CaseStore) -> Case:
    site, _ = build_quick_site(QuickDescription("two_wire_zone", "5", order="unknown"))
    return record_reading(store, describe(store, write_site(site)), SHOWN)


def by_count(store: CaseStore) -> Case:
    site, _ = build_quick_site(QuickDescription("two_wire_zone", "5"))
    return record_reading(store, describe(store, write_site(site)), SHOWN)


def two_loops(store: CaseStore) -> Case:
    path = Path(__file__).parents[2] / "cases" / "sites" / "hostel.yaml"
    return describe(store, path.read_text("utf-8"))


def find(case: Case, test: str) -> ProofItem:
    return next(item for item in list_proof(case, build_loop(case.site)) if item.test == test)


def measured_again(store: CaseStore) -> Case:
    case = at_proof(store)
    return record_recheck(store, case, find(case, "recheck"), "19.1 V", "e" * 32)


def describe_anew(store: CaseStore, case: Case) -> Case:
    return describe_site(store, case, case.site_text.replace("Corner bakery", "Corner shop"))


def put_all_back(store: CaseStore, case: Case) -> Case:
    m = next(m for m in list_measurements(build_loop(case.site)) if "put_back" in m.cautions)
    return put_back(store, case, m)


# Each thing that a screen writes: where the case stands, and the deed as it is done on what the page has shown.
DEEDS: dict[str, tuple[Callable[[CaseStore], Case], Deed]] = {
    "caution": (at_work, lambda s, c: acknowledge(s, c, "anything new")),
    "not one of ours": (at_work, lambda s, c: close_case(s, c, "not_ours", told="Kim", by="Ada")),
    "on test": (at_work, lambda s, c: tell_people(s, c, 8.0)),
    "no station": (at_work, lambda s, c: tell_people(s, c, None)),
    "longer on test": (at_work, lambda s, c: extend_test(s, c, 1.0)),
    "description": (at_work, describe_anew),
    "complaint": (at_work, lambda s, c: tell_complaint(s, c, "detectors_dark", ("aged",), ("meter",))),
    "which loop": (two_loops, lambda s, c: tell_loop(s, c, "zone2")),
    "room": (without_order, lambda s, c: tell_place(s, c, "det3", "loft")),
    "rooms": (by_count, lambda s, c: tell_rooms(s, c, ("loft", "cellar"))),
    "reading": (at_work, lambda s, c: record_reading(s, c, VOLTS)),
    "readings as left": (at_work, lambda s, c: record_readings(s, c, (VOLTS, replace(VOLTS, reading_id="c" * 32)))),
    "correction": (at_work, lambda s, c: correct_reading(s, c, SHOWN.reading_id, ALARM)),
    "taken back": (at_work, lambda s, c: take_back_reading(s, c, SHOWN.reading_id, "taken back")),
    "left out": (at_work, lambda s, c: skip_measurements(s, c, (KEY,))),
    "place out of reach": (at_work, lambda s, c: skip_place(s, c, build_loop(c.site), "det3")),
    "no such tool": (at_work, lambda s, c: lack_tool(s, c, "meter")),
    "clock": (at_work, lambda s, c: start_clock(s, c, KEY)),
    "guide": (at_work, lambda s, c: choose_lead(s, c, guide=False)),
    "taken over": (at_work, lambda s, c: hand_over(s, c, "caller")),
    "baseline": (at_work, lambda s, c: answer_baseline(s, c, Baseline())),
    "baseline dropped": (at_work, lambda s, c: keep_baseline(s, c, keep=False)),
    "put back": (at_work, put_all_back),
    "repair": (at_work, lambda s, c: record_repair(s, c, "fit_end_resistor@end", cured=True)),
    "repair in vain": (at_work, lambda s, c: record_repair(s, c, "wire fixed", cured=False)),
    "came back": (at_proof, deny_cure),
    "came back after volts again": (measured_again, deny_cure),
    "cured by mistake": (at_proof, lambda s, c: take_back_repair(s, c, 0)),
    "test done": (at_proof, lambda s, c: record_test(s, c, find(c, "reset"), done=True)),
    "test not done": (at_proof, lambda s, c: record_test(s, c, find(c, "reset"), done=False, why="Friday")),
    "volts again": (at_proof, lambda s, c: record_recheck(s, c, find(c, "recheck"), "19.1 V", "e" * 32)),
    "the rest is done": (at_proof, pass_tests),
    "end of the tests": (at_end, finish_tests),
    "closed": (at_work, lambda s, c: close_case(s, c, "waiting", note="a spare part")),
    "left impaired": (at_work, lambda s, c: close_case(s, c, "left_impaired", told="the owner", note="x", by="Ada")),
    "opened again": (closed, reopen_case),
    "come back": (at_work, come_back),
}  # fmt: skip


def meddle(store: CaseStore, case: Case) -> Case:
    """Let somebody else do something: a reading, or on a closed case a word to somebody."""
    if case.closing:
        return acknowledge(store, case, "somebody else was here")
    return record_reading(store, case, LAMP)


@pytest.mark.parametrize("name", DEEDS)
def test_deed_on_a_case_that_has_moved_on_is_refused_in_words_and_then_can_be_done(store: CaseStore, name: str) -> None:
    begin, deed = DEEDS[name]
    seen = begin(store)
    now = meddle(store, seen)
    with pytest.raises(CaseChangedError, match="nothing of yours was saved") as refused:
        deed(store, store.load_case(seen.case_id, seen.revision))
    assert "has changed since revision" in refused.value.message
    assert store.load_case(seen.case_id) == now
    assert deed(store, now).revision > now.revision


@pytest.mark.parametrize("name", DEEDS)
def test_deed_done_twice_on_what_one_page_has_shown_is_done_once(store: CaseStore, name: str) -> None:
    begin, deed = DEEDS[name]
    seen = begin(store)
    once = deed(store, seen)
    assert once.revision > seen.revision
    assert deed(store, store.load_case(seen.case_id, seen.revision)) == once


@pytest.mark.parametrize("name", DEEDS)
def test_deed_after_a_closing_is_never_taken_for_done(store: CaseStore, name: str) -> None:
    begin, deed = DEEDS[name]
    seen = begin(store)
    if seen.closing:
        return
    left = store.append_closing(seen.case_id, "not_ours", seen.revision)
    with pytest.raises(DiagnosticsError):
        deed(store, store.load_case(seen.case_id, seen.revision))
    assert store.load_case(seen.case_id) == left


def test_said_and_taken_back_meanwhile_is_not_taken_for_said(store: CaseStore) -> None:
    seen = at_work(store)
    case = skip_measurements(store, seen, (KEY,))
    case = skip_measurements(store, case, (KEY,), skip=False)
    with pytest.raises(CaseChangedError):
        skip_measurements(store, store.load_case(seen.case_id, seen.revision), (KEY,))
    assert store.load_case(seen.case_id) == case


def test_other_answer_to_the_same_question_is_refused(store: CaseStore) -> None:
    case = describe(store)
    seen = store.append_outline(case.case_id, replace(case.outline, symptom="will_not_reset"), case.revision)
    answer_guide(store, seen, "real", "smoke or CO, or somebody unwell")
    with pytest.raises(CaseChangedError):
        answer_guide(store, store.load_case(seen.case_id, seen.revision), "real", "it is clear")


def test_loop_accepted_twice_is_accepted_once(store: CaseStore) -> None:
    seen = describe(store)
    assert accept_loop(store, seen) == seen


def test_case_as_it_stood_at_a_revision(store: CaseStore) -> None:
    seen = at_work(store)
    record_reading(store, seen, VOLTS)
    assert store.load_case(seen.case_id, seen.revision) == seen


def test_a_cure_that_somebody_denied_already_is_shown_as_denied_whatever_came_after(store: CaseStore) -> None:
    """It came back, told twice: the second time from a page that has not seen what the search has read since."""
    seen = measured_again(store)
    now = record_reading(store, deny_cure(store, seen), LAMP)
    assert deny_cure(store, store.load_case(seen.case_id, seen.revision)) == now
