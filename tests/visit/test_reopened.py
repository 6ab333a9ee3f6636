"""A case that was opened again is visited anew: what may have changed is asked anew, and nothing said is lost."""

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from diagnostics.cases import Acknowledgement, Case, CaseStore, Reading, parse_case, write_case
from diagnostics.reports import render_record
from diagnostics.source import read_document
from diagnostics.visit import (
    SAFETY,
    acknowledge,
    answer_guide,
    assess_case,
    close_case,
    come_back,
    find_break,
    find_change,
    find_given,
    find_measurement,
    find_stage,
    find_test_end,
    find_wait_s,
    list_read_cautions,
    list_test_ends,
    record_reading,
    reopen_case,
    start_clock,
    tell_meaning,
    tell_people,
)
from diagnostics.wiring import build_loop
from tests.screens.real_work import describe

SHOWN = Reading("panel_shows", "trouble", at="panel", reading_id="a" * 32)


@pytest.fixture
def store(tmp_path: Path) -> CaseStore:
    return CaseStore(f"sqlite:///{tmp_path / 'cases.sqlite3'}")


def leave(store: CaseStore) -> Case:
    """Return a case on test, read at, one reading taken back, and left waiting."""
    case = tell_people(store, describe(store), 8.0)
    case = record_reading(store, case, SHOWN)
    case = store.append_retraction(case.case_id, SHOWN.reading_id, case.revision, "taken back")
    case = record_reading(store, case, replace(SHOWN, reading_id="b" * 32))
    return close_case(store, case, "waiting", note="a spare part", by="Ada")


def test_what_must_come_before_any_measurement_comes_before_it_again(store: CaseStore) -> None:
    case = reopen_case(store, leave(store))
    assert find_stage(case) == SAFETY[0]
    for name in SAFETY:
        assert find_stage(case) == name
        case = acknowledge(store, case, name)
    assert find_stage(case) == "work"
    assert [a.caution for a in case.acknowledged if a.caution in SAFETY][-len(SAFETY) :] == list(SAFETY)
    assert all(sum(a.caution == name for a in case.acknowledged) > 1 for name in SAFETY)


def test_old_test_period_is_over_and_stays_in_the_record(store: CaseStore) -> None:
    left = leave(store)
    case = reopen_case(store, left)
    assert find_test_end(left) is not None
    assert find_test_end(case) is None
    case = tell_people(store, case, 1.0)
    end = find_test_end(case)
    assert end is not None
    assert end < datetime.now(UTC) + timedelta(hours=2)
    assert list_test_ends(case) == (find_test_end(left), end)
    record = render_record(case)
    assert all(f"{at:%H:%M}" in record for at in list_test_ends(case))


def test_what_was_just_done_at_the_last_visit_is_not_just_done_now(store: CaseStore) -> None:
    left = leave(store)
    case = reopen_case(store, left)
    assert len(case.readings) == len(case.retracted) == 1
    assert find_change(case) is None
    loop = build_loop(case.site)
    assert "evidence_first" in list_read_cautions(left, loop)
    assert list_read_cautions(case, loop) == frozenset()


def test_clock_begins_anew(store: CaseStore) -> None:
    case = describe(store)
    m = find_measurement(build_loop(case.site), "panel_shows|panel|standby")
    assert m is not None
    case = start_clock(store, case, m.key)
    case = close_case(store, case, "waiting", note="back on Friday")
    assert find_wait_s(case, m) is not None
    assert find_wait_s(reopen_case(store, case), m) is None


def test_answer_that_stopped_the_guide_is_asked_anew(store: CaseStore) -> None:
    case = describe(store)
    case = store.append_outline(case.case_id, replace(case.outline, symptom="will_not_reset"), case.revision)
    case = answer_guide(store, case, "real", "smoke or CO, or somebody unwell")
    stopped = assess_case(case, guided=True).guidance
    assert stopped is not None
    assert stopped.stops
    case = reopen_case(store, close_case(store, case, "waiting", note="the brigade is there"))
    assert find_given(case) == {}
    assert [g.answer for g in case.guide_answers] == ["smoke or CO, or somebody unwell"]
    for name in SAFETY:
        case = acknowledge(store, case, name)
    again = assess_case(case, guided=True).guidance
    assert again is not None
    assert not again.stops


def test_reopened_case_means_something_else_than_before(store: CaseStore) -> None:
    left = leave(store)
    assert tell_meaning(replace(left, closing="")) != tell_meaning(reopen_case(store, left))


def test_when_it_was_opened_again_survives_store_and_file(store: CaseStore) -> None:
    time.sleep(0.001)
    case = reopen_case(store, leave(store))
    assert store.load_case(case.case_id) == case
    assert case.visit_begun is not None
    text = write_case(case)
    assert parse_case(read_document(text, "case"), None, text=text) == case


def test_record_without_the_moment_of_opening_counts_from_the_closing(store: CaseStore) -> None:
    case = reopen_case(store, leave(store))
    (earlier,) = case.earlier_closings
    old = replace(case, earlier_closings=(replace(earlier, opened_at=None),))
    assert earlier.leaving is not None
    assert old.visit_begun == earlier.leaving.at
    assert find_stage(old) == SAFETY[0]


def test_whoever_comes_back_after_a_long_break_is_asked_anew_and_nothing_is_lost(store: CaseStore) -> None:
    before = tell_people(store, describe(store), 1.0)
    before = record_reading(store, before, SHOWN)
    last = before.readings[-1].taken_at
    assert last is not None
    assert find_break(before, last + timedelta(hours=7)) is None
    assert find_break(before, last + timedelta(hours=9)) == last
    case = come_back(store, before)
    assert find_stage(case) == SAFETY[0]
    assert find_test_end(case) is None
    assert case.readings == before.readings
    assert find_break(case) is None
    for name in SAFETY:
        case = acknowledge(store, case, name)
    assert find_stage(case) == "work"
    case = tell_people(store, case, 2.0)
    assert list_test_ends(case) == (find_test_end(before), find_test_end(case))
    text = write_case(case)
    assert parse_case(read_document(text, "case"), None, text=text).visits_begun == case.visits_begun


def test_what_is_closed_or_for_practice_has_no_break(store: CaseStore) -> None:
    long_ago = datetime.now(UTC) + timedelta(days=400)
    case = describe(store)
    assert find_break(case, long_ago) is not None
    practice = replace(case, acknowledged=(*case.acknowledged, Acknowledgement("invented x@y", datetime.now(UTC))))
    assert find_break(practice, long_ago) is None
    assert find_break(close_case(store, case, "waiting", note="a part"), long_ago) is None


def test_what_is_noted_in_a_page_that_was_left_open_over_night_does_not_hide_the_break(store: CaseStore) -> None:
    case = record_reading(store, describe(store), SHOWN)
    left = case.readings[-1].taken_at
    assert left is not None
    tomorrow = left + timedelta(hours=14)
    case = store.append_acknowledgement(case.case_id, Acknowledgement("put_back x", tomorrow), case.revision)
    assert find_break(case, tomorrow + timedelta(minutes=1)) == left


def test_answers_of_a_clock_that_was_ahead_open_no_way_past_the_first_questions(store: CaseStore) -> None:
    """Found by trying: a case file dated years ahead was opened again, and nobody was asked whether it is real."""
    later = datetime.now(UTC) + timedelta(days=900)
    case = describe(store)
    ahead = replace(case, case_id="", acknowledged=tuple(replace(a, at=later) for a in case.acknowledged))
    ahead = store.create_case(ahead)
    assert find_break(ahead) is None
    for now in (ahead, reopen_case(store, close_case(store, ahead, "waiting", note="a part"))):
        assert find_stage(now) == SAFETY[0]
    for name in SAFETY:
        now = acknowledge(store, now, name)
    assert find_stage(now) == "work"
