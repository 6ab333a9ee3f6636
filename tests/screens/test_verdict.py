"""At the verdict: what was suggested is kept with what was done about it; a wrong word can be taken back."""

from dataclasses import replace

import pytest

from diagnostics.cases import CaseStore, Reading, Suggestion, parse_case, write_case
from diagnostics.readings import Faults
from diagnostics.reports import render_record
from diagnostics.source import read_document
from diagnostics.visit import RepairNote, assess_case, record_reading, record_repair
from diagnostics.visit.assess import build_case_bench, build_question
from tests.screens.conftest import Visitor
from tests.screens.real_work import describe, describe_call
from tests.screens.test_work import at_verdict, at_volts


@pytest.fixture
def at_either(store: CaseStore) -> Visitor:
    """Return somebody at a verdict that only a look tells apart: the plus or the minus conductor of one run."""
    return Visitor(store, describe_call(store).case_id)


def tell(s: Suggestion) -> tuple[str, str, str]:
    return s.action, s.what, s.outcome


def test_suggested_repair_is_kept_with_whether_it_was_made(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("still_faulty")
    assert tell(at_work.case.suggestions[-1]) == ("repair", "fit_end_resistor@end", "followed")
    written = [str(m.value) for m in at_work.at.markdown]
    told, step = (next(n for n, text in enumerate(written) if mark in text) for mark in ("✗ Still faulty", "## "))
    assert told < step
    at_work.tap("take_back_repair_0")
    assert [r.cured for r in at_work.case.repairs] == [None]
    at_work.tap("correct ")  # a reading behind the verdict
    assert "Correcting an earlier reading" in at_work.text


def test_what_was_right_as_it_was_is_no_repair_in_vain_and_the_search_goes_on(at_work: Visitor) -> None:
    """Nothing was changed: what was read before still is of this loop, and the readings are not parted by it."""
    at_verdict(at_work)
    before = assess_case(at_work.case)
    at_work.tap("was_right")
    (repair,) = at_work.case.repairs
    assert (repair.fault, repair.cured, repair.saw) == ("fit_end_resistor@end", False, "right")
    assert "**– Left as it was**" in at_work.text
    assert "Nothing was changed: it was right." in at_work.text
    assert "Still faulty" not in at_work.text
    assert "What was seen there?" not in at_work.text
    question = build_question(at_work.case, build_case_bench(at_work.case))
    assert (question.tried, question.tried_after, question.symptom_after) == (
        (("fit_end_resistor", "end"),),
        None,
        None,
    )
    after = assess_case(at_work.case).diagnosis
    shares = [
        sum(c.probability for c in d.candidates if c.repair_class == ("fit_end_resistor", "end"))
        for d in (before.diagnosis, after)
    ]
    assert shares[1] < shares[0]
    record = render_record(at_work.case)
    assert "Nothing was changed: it was right." in record
    assert parse_case(read_document(write_case(at_work.case), "c"), None).repairs == at_work.case.repairs
    at_work.tap("take_back_repair_0")
    assert assess_case(at_work.case).diagnosis.settled == before.diagnosis.settled


def test_what_was_right_does_not_hide_the_repair_that_was_made_in_vain_before_it(store: CaseStore) -> None:
    case = record_repair(store, describe_call(store), "mend_conductor@run det5", cured=False)
    case = record_repair(store, case, "fit_end_resistor@end", cured=False, note=RepairNote((), "right"))
    question = build_question(case, build_case_bench(case))
    assert question.tried == (("fit_end_resistor", "end"), ("mend_conductor", "run det5"))
    assert question.tried_after == len(question.taken)


def test_repair_of_ones_own_is_kept_as_another_than_the_suggested_one(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("work_done").tap("still_faulty")
    assert tell(at_work.case.suggestions[-1]) == ("measure", "panel_shows|panel|standby", "other")


def test_whether_it_cured_is_asked_only_once_the_work_is_said_to_be_done(at_work: Visitor) -> None:
    at_verdict(at_work)
    assert not at_work.has("cured")
    assert "Is the complaint gone?" not in at_work.text
    at_work.tap("work_done")
    assert "Is the complaint gone?" in at_work.text
    assert at_work.case.repairs == ()
    assert at_work.reload().has("cured")
    at_work.tap("work_not_done")
    assert not at_work.has("cured")


def test_work_that_was_done_once_is_not_taken_as_done_again(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("work_done").tap("still_faulty")
    at_work.tap("to_repair")
    assert not at_work.has("cured")


def test_several_that_a_verdict_is_for_are_told_as_one_or_the_other(at_either: Visitor) -> None:
    text = at_either.text
    assert "One of these, the likeliest first." in text
    assert text.count("- or: ") >= 1
    assert "plus conductor, run into detector 5" in text
    assert "minus conductor, run into detector 5" in text


def test_repair_spread_over_many_places_tells_some_and_how_many_more(store: CaseStore) -> None:
    """A resistor that is not at the end of eight: at the panel, or at any of seven detectors."""
    case = describe(store)
    outline = replace(case.outline, symptom="no_trouble_with_head_off")
    case = store.append_outline(case.case_id, outline, case.revision)
    for where in (("panel_shows", "normal", "panel"), ("look", "resistor_missing", "det8")):
        case = record_reading(store, case, Reading(where[0], where[1], at=where[2], mode="standby"))
    text = Visitor(store, case.case_id).text
    assert "One of these, the likeliest first." in text
    assert text.count("not at the end.") == 6
    assert "or: 2 more, hardly less likely" in text


def test_a_look_at_another_side_of_the_case_does_not_forget_that_the_work_is_done(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("timeline").tap("timeline_back")
    assert at_work.has("cured")
    at_work.tap("still_faulty").tap("timeline").tap("timeline_back")
    assert not at_work.has("cured")


def test_something_else_that_is_wrong_after_a_repair_is_asked_for_and_searched(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("other_now").tap("now_use")
    assert "Choose what is wrong now" in at_work.text
    assert at_work.case.repairs == ()
    at_work.pick("What is wrong now?", "detectors_dark")
    assert at_work.reload().at.radio(key="now").value == "detectors_dark"
    (repair,) = at_work.tap("now_use").case.repairs
    assert (repair.cured, repair.now) == (False, "detectors_dark")
    for told in (at_work.text, render_record(at_work.case)):
        assert "Since then: " in told
    text = write_case(at_work.case)
    assert parse_case(read_document(text, "case"), None, text=text) == at_work.case
    dark = sum(c.probability for c in assess_case(at_work.case).diagnosis.candidates if _is_dead(c.faults))
    same = replace(at_work.case, repairs=(replace(repair, now=""),))
    assert dark > 10 * sum(c.probability for c in assess_case(same).diagnosis.candidates if _is_dead(c.faults))


def _is_dead(faults: Faults) -> bool:
    return any(fault.kind == "detector_dead" for fault in faults)


def test_that_it_is_the_same_after_all_is_one_tap_back(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done").tap("other_now").tap("now_back").tap("still_faulty")
    assert [(r.cured, r.now) for r in at_work.case.repairs] == [(False, "")]


def test_what_is_wrong_after_a_repair_of_ones_own_keeps_what_was_typed(at_work: Visitor) -> None:
    at_work.tap("to_repair").type("What did you put right?", "a loose wire").tap("work_done").tap("other_now")
    at_work.tap("now_use")
    assert not at_work.case.repairs
    at_work.pick("What is wrong now?", "none_report").tap("now_use")
    assert [(r.fault, r.now) for r in at_work.case.repairs] == [("a loose wire", "none_report")]


def test_last_reading_can_be_taken_back_at_a_verdict_and_on_the_same_ladder(at_either: Visitor) -> None:
    before = len(at_either.case.readings)
    at_either.tap("undo")
    assert len(at_either.case.readings) == before - 1
    assert at_either.has("record")


def test_last_reading_can_be_taken_back_while_the_rest_of_a_ladder_is_typed(at_work: Visitor) -> None:
    at_volts(at_work)
    listed = Visitor(at_work.store, at_work.case_id, list="volts|det3.in+,det3.in-|standby")
    assert "Read at the same place" in listed.text
    listed.tap("undo")
    assert listed.case.readings == ()
