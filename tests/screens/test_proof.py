"""Tests after a repair, one by one: done, or not done and why; what was said by mistake can be taken back."""

import pytest

from diagnostics.cases import Case, CaseStore, Reading
from diagnostics.reports import render_record
from diagnostics.visit import find_stage, list_untested, put_back, record_repair, tell_people, understand
from diagnostics.wiring import build_loop
from tests.cases.mended import prove
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import build_restored, describe, write_note

ASSUMED = "(panel assumed, its instructions count)"
WHY = "Why is it not done?"
REPAIR = "fit_end_resistor@end"


@pytest.fixture
def at_proof(store: CaseStore) -> Visitor:
    """Return somebody at the tests after a repair at the far end of the bakery's loop: detector 8, loading bay."""
    case = record_repair(store, describe(store), REPAIR, cured=True)
    return Visitor(store, case.case_id)


def test_nothing_is_tested_before_what_was_lifted_is_ticked_as_back(store: CaseStore) -> None:
    case = describe(store)
    lifted = Reading("ohms", "OL", "panel.zone1+", "panel.zone1-", mode="lifted")
    case = store.append_reading(case.case_id, lifted, case.revision)
    visitor = Visitor(store, record_repair(store, case, REPAIR, cured=True).case_id)
    assert "Put back, one by one" in visitor.text
    assert "part of the system is out of service" in visitor.text
    assert not visitor.has("test_done")
    (tick,) = (box for box in visitor.at.checkbox if str(box.key).startswith("back_0"))
    tick.check()
    visitor.run()
    assert "Put back, one by one" not in visitor.reload().text
    assert visitor.has("test_done")


def list_results(case: Case) -> list[tuple[str, str, bool, str]]:
    return [(r.test, r.at, r.done, r.why) for r in case.tests]


def test_each_test_says_where_by_room_and_why_it_is_on_the_list(at_proof: Visitor) -> None:
    for told in (
        "1. Functional test of detector 8 (loading bay), through to the right zone",
        "touched, farthest, one of each kind",
        "2. Reset clears the alarm",
        "3. One head off shows trouble",
        "5. The supervising station receives it",
        "Outputs.",
        "Tell people first.",
        "Ladder.",
    ):
        assert told in at_proof.text


def test_test_that_is_done_is_kept_at_once_and_leaves_the_list_of_open_ones(at_proof: Visitor) -> None:
    assert "Still open: detector 8, reset, head off, panel normal, supervising station" in at_proof.text
    at_proof.tap("test_done_0")
    assert list_results(at_proof.case) == [("functional_test", "det8", True, "")]
    again = at_proof.reload()
    assert "✓ Done" in again.text
    assert "Still open: reset, head off, panel normal, supervising station" in again.text


def test_test_that_is_not_done_needs_a_reason_which_survives_a_reload_half_typed(at_proof: Visitor) -> None:
    at_proof.tap("test_not_1").tap("test_keep_1")
    assert "Say why this test is not done" in at_proof.text
    assert at_proof.case.tests == ()
    again = at_proof.type(WHY, "nobody at").reload()
    assert next(f for f in again.at.text_input if f.label == WHY).value == "nobody at"
    again.type(WHY, "nobody at <b>the</b> panel").tap("test_keep_1")
    assert list_results(again.case) == [("reset", "", False, "nobody at <b>the</b> panel")]
    assert "✗ Not done, because nobody at <b>the</b> panel" in again.text
    assert "<b>" not in "".join(str(m.value) for m in again.at.markdown).replace("\\<", "")
    assert "why" not in again.at.query_params


def test_reason_half_typed_for_one_test_stays_when_another_is_done(at_proof: Visitor) -> None:
    at_proof.tap("test_not_1").type(WHY, "nobody at the").tap("test_done_0")
    assert next(f for f in at_proof.at.text_input if f.label == WHY).value == "nobody at the"
    at_proof.tap("test_cancel_1")
    assert not [f for f in at_proof.at.text_input if f.label == WHY]


def test_same_reason_is_one_tap(at_proof: Visitor) -> None:
    at_proof.tap("test_not_1").type(WHY, "no tester here").tap("test_keep_1").tap("test_not_0").tap("test_same_0")
    at_proof.tap("test_keep_0")
    assert [why for *_, why in list_results(at_proof.case)] == ["no tester here", "no tester here"]


def test_a_test_that_failed_is_told_so_and_leads_back_to_the_search(at_proof: Visitor) -> None:
    at_proof.tap("test_not_0").type(WHY, "no alarm at the panel").tap("test_failed_0_0")
    (result,) = at_proof.case.tests
    assert (result.done, result.failed, result.why) == (False, True, "no alarm at the panel")
    (reading,) = at_proof.case.readings
    assert (reading.measurement, reading.at, reading.value) == ("functional_test", "det8", "no_report")
    assert "Failed, " in at_proof.text
    assert "say “It came back. Still faulty” below" in at_proof.text
    assert "FAILED: no alarm at the panel" in render_record(at_proof.case)
    at_proof.tap("test_not_1").tap("test_failed_1_0")  # no need to say more
    assert at_proof.case.tests[-1].failed
    assert "✗ Failed, " in at_proof.text
    at_proof.tap("tests_rest").reread().tap("tests_end")
    assert "Put right, and tested" not in at_proof.at.radio(key="closing").options
    assert "Reset" in at_proof.text
    assert ": failed" in at_proof.text
    at_proof.tap("tests_again").tap("proof_not")
    assert find_stage(at_proof.case) == "work"


def test_each_test_fails_in_words_of_its_own(at_proof: Visitor) -> None:
    told = {}
    for number in (0, 2, 3):
        at_proof.tap(f"test_not_{number}")
        labels = [b.label for b in at_proof.at.button if (b.key or "").startswith(f"test_failed_{number}_")]
        told[number] = labels
        at_proof.tap(f"test_cancel_{number}")
    assert len(told[0]) == 3
    assert told[2] == ["It failed: no trouble shows"]
    assert told[3] == ["It failed: trouble", "It failed: alarm"]


def test_head_off_test_says_at_which_detector(at_proof: Visitor) -> None:
    at_proof.at.selectbox(key="head").set_value("det3")
    at_proof.run()
    again = at_proof.reload()
    assert again.at.selectbox(key="head").value == "det3"
    again.tap("test_done_2")
    assert list_results(again.case) == [("head_off_test", "det3", True, "")]
    assert "Head of detector 3 (corridor) off shows trouble" in again.text
    assert "Head of detector 3 (corridor) off shows trouble" in render_record(again.case)


def test_one_tap_never_notes_the_functional_test_of_a_detector(at_proof: Visitor) -> None:
    (rest,) = (b for b in at_proof.at.button if b.key == "tests_rest")
    assert rest.label == "These 4 are done: reset, head off (detector 8), panel normal, supervising station"
    at_proof.tap("tests_rest")
    assert [test for test, *_ in list_results(at_proof.case)] == ["reset", "head_off_test", "at_rest", "station"]
    assert find_stage(at_proof.case) == "proof"
    assert "Still open: detector 8" in at_proof.text
    assert not at_proof.has("tests_rest")


def test_put_right_cannot_be_chosen_while_a_test_is_open_and_the_closing_says_which(at_proof: Visitor) -> None:
    at_proof.tap("tests_rest").reread().tap("tests_end")
    closing = at_proof.at.radio(key="closing")
    assert "Put right, and tested" not in closing.options
    assert "“Put right, and tested” cannot be chosen yet: 1 not tested" in at_proof.text
    assert "Functional test of detector 8 (loading bay), through to the right zone" in at_proof.text
    closing.set_value("waiting")
    at_proof.run()
    write_note(at_proof, "a tester, until Friday").tap("close_case")
    assert at_proof.case.closing == "waiting"
    at_proof.tap("open_again")
    for key in SAFETY:
        at_proof.tap(key)
    at_proof.tap("test_done_0").tap("tests_end")
    assert at_proof.at.radio(key="closing").value == "mended"


def test_system_that_nobody_monitors_needs_no_station_to_be_put_right(store: CaseStore) -> None:
    case = tell_people(store, describe(store), None)
    case = prove(store, record_repair(store, case, REPAIR, cured=True), "det8")
    assert {r.test for r in case.tests} == {"functional_test", "head_off_test", "reset", "at_rest"}
    assert Visitor(store, case.case_id).at.radio(key="closing").value == "mended"


def test_the_rest_in_one_tap_covers_only_what_is_open(at_proof: Visitor) -> None:
    at_proof.tap("test_not_0").type(WHY, "no tester here").tap("test_keep_0").reread()
    assert "Still open: reset, head off, panel normal, supervising station" in at_proof.text
    at_proof.tap("tests_rest")
    case = at_proof.case
    assert list_results(case) == [
        ("functional_test", "det8", False, "no tester here"),
        ("reset", "", True, ""),
        ("head_off_test", "det8", True, ""),
        ("at_rest", "panel", True, ""),
        ("station", "", True, ""),
    ]
    assert find_stage(case) == "closing"
    assert "1 not tested" in at_proof.text
    assert "Put right, and tested" not in at_proof.at.radio(key="closing").options
    assert "detector 8 (loading bay), through to the right zone: no tester here" in at_proof.text


def test_list_that_was_said_item_by_item_is_ended_without_adding_to_it(at_proof: Visitor) -> None:
    for number in range(5):
        at_proof.tap(f"test_done_{number}")
    at_proof.reread()
    before = at_proof.case.tests
    at_proof.tap("tests_end")
    assert at_proof.case.tests == before
    assert list_untested(at_proof.case, build_loop(at_proof.case.site)) == ()
    assert find_stage(at_proof.case) == "closing"


def test_result_can_be_changed_from_the_list_and_from_the_closing(at_proof: Visitor) -> None:
    at_proof.tap("test_done_1").tap("test_change_1").tap("test_not_1").type(WHY, "latched again").tap("test_keep_1")
    at_proof.tap("test_done_0").tap("test_done_2").tap("test_done_3").tap("test_done_4").reread().tap("tests_end").tap(
        "tests_again"
    )
    assert "Reset clears the alarm" in at_proof.text
    at_proof.tap("test_change_1").tap("test_done_1").tap("tests_end")
    assert [(done, why) for test, _, done, why in list_results(at_proof.case) if test == "reset"] == [
        (True, ""),
        (False, "latched again"),
        (True, ""),
    ]
    assert "How do you leave it?" in at_proof.text
    assert "not tested" not in at_proof.text


def test_second_person_at_the_list_loses_no_half_typed_reason(at_proof: Visitor) -> None:
    other = Visitor(at_proof.store, at_proof.case_id)
    other.tap("test_not_1").type(WHY, "nobody at the panel")
    at_proof.tap("test_done_0")
    other.tap("test_keep_1")
    assert "Somebody else has worked on this case meanwhile" in other.text
    assert next(f for f in other.at.text_input if f.label == WHY).value == "nobody at the panel"
    other.tap("test_keep_1")
    assert [test for test, *_ in list_results(other.case)] == ["functional_test", "reset"]


@pytest.mark.parametrize("ended", [False, True])
def test_cured_by_mistake_can_be_taken_back_and_the_search_goes_on_as_if_untold(
    at_proof: Visitor,
    ended: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    if ended:
        at_proof.tap("test_done_0").tap("tests_rest")
    at_proof.tap("proof_mistake")
    assert [(r.fault, r.cured) for r in at_proof.case.repairs] == [(REPAIR, None)]
    assert find_stage(at_proof.case) == "work"
    assert "outcome not known" in at_proof.text


def test_repair_that_came_back_is_evidence_and_can_be_taken_back_too(at_proof: Visitor) -> None:
    at_proof.tap("proof_not")
    assert [r.cured for r in at_proof.case.repairs] == [False]
    assert "✗ Still faulty" in at_proof.text
    at_proof.tap("take_back_repair_0")
    assert [r.cured for r in at_proof.case.repairs] == [None]
    assert not at_proof.has("take_back_repair")


def test_lower_edge_names_no_more_than_it_has_room_for(store: CaseStore) -> None:
    case = describe(store)
    for n in range(1, 8):
        head = Reading("head_off", "trouble", at=f"det{n}", mode=f"head_off:det{n}")
        case = store.append_reading(case.case_id, head, case.revision)
        case = put_back(store, case, understand(build_loop(case.site), head).measurement)
    visitor = Visitor(store, record_repair(store, case, REPAIR, cured=True).case_id)
    named = ", ".join(f"detector {n}" for n in range(1, 7))
    assert f"Still open: {named}, and 7 more" in visitor.text


def test_list_speaks_as_people_do_over_there(store: CaseStore) -> None:
    case = record_repair(store, describe(store), REPAIR, cured=True)
    visitor = Visitor(store, case.case_id, region="europe")
    for told in ("One head off shows fault", "The alarm receiving centre receives it"):
        assert told in visitor.text


def test_results_of_an_earlier_repair_do_not_count_for_a_later_one(store: CaseStore) -> None:
    case = build_restored(store)
    visitor = Visitor(store, case.case_id).tap("proof_not")
    record_repair(store, visitor.case, REPAIR, cured=True)
    visitor.run()
    assert "Still open: detector 8, reset, head off, panel normal, supervising station" in visitor.text


def test_volts_that_the_repair_asks_for_again_have_a_line_and_a_field_of_their_own(at_proof: Visitor) -> None:
    line = (
        "6. Volts again, all reset and at rest: red on zone 1 +, black on zone 1 −; 17.9 V to 20.4 V "
        + ASSUMED
        + " on a sound loop"
    )
    assert line in at_proof.text
    assert "Live cabinet." in at_proof.text
    at_proof.reread("19,2")
    (reading,) = at_proof.case.readings
    assert (reading.value, reading.condition) == ("19,2", "absent")
    assert "✓ Right, 19.2 V read" in at_proof.reload().text
    assert "done: 19,2" in render_record(at_proof.case)


def test_volts_that_no_sound_loop_gives_are_not_right_and_bar_put_right(at_proof: Visitor) -> None:
    at_proof.reread("23.9 V")
    assert (
        "✗ Not as expected, 23.9 V read. With a panel as it is assumed here, a sound loop shows 17.9 V to 20.4 V."
        in at_proof.text
    )
    at_proof.tap("test_done_0").tap("tests_rest")
    assert "Put right, and tested" not in at_proof.at.radio(key="closing").options
    assert "NOT RIGHT, not as on a sound loop: 23.9 V" in render_record(at_proof.case)
    at_proof.tap("tests_again").tap("test_change_5").reread("19.1 V").tap("tests_end")
    assert at_proof.at.radio(key="closing").value == "mended"


def test_volts_that_cannot_be_measured_again_need_a_reason(at_proof: Visitor) -> None:
    at_proof.tap("test_record_5")
    assert "Choose an answer first" in at_proof.text
    at_proof.tap("test_not_5").type(WHY, "meter left in the van").tap("test_keep_5")
    assert list_results(at_proof.case)[0][::2] == ("recheck", False)
    assert "meter left in the van" in render_record(at_proof.case)


@pytest.mark.parametrize("repair", ["fit_head@det3", "wire at detector 3 fixed"])
def test_repair_that_asks_for_no_volts_has_no_such_line(store: CaseStore, repair: str) -> None:
    case = record_repair(store, describe(store), repair, cured=True)
    assert "Volts again" not in Visitor(store, case.case_id).text


def test_volts_that_no_loop_has_are_a_stop_after_a_repair_too(at_proof: Visitor) -> None:
    field = next(f for f in at_proof.at.text_input if (f.key or "").startswith("reread_"))
    field.set_value("230")
    at_proof.run()
    assert any("more than anything on this loop can give" in e.value for e in at_proof.at.error)
    at_proof.tap("test_record_")
    assert [r.value for r in at_proof.case.readings] == ["230"]
    assert any("Stop, hands off" in e.value for e in at_proof.at.error)
    assert not [b.key for b in at_proof.at.button if (b.key or "").startswith(("test_done", "tests_rest"))]
    at_proof.tap("tests_end")
    assert any("Stop, hands off" in e.value for e in at_proof.at.error)
    assert at_proof.at.radio(key="closing").options == [
        "Waiting for parts, access or tests", "Left impaired", "Not ours to mend"
    ]  # fmt: skip
    at_proof.tap("closing_back").tap("made_safe_0")
    assert "Choose an answer first." in at_proof.text
    at_proof.at.text_input(key="safe_0").set_value("19.1 V")
    at_proof.run()
    at_proof.tap("made_safe_0")
    assert not at_proof.at.error
    assert at_proof.has("test_done_0")
    assert "Right, 19.1 V read" in at_proof.text


def test_mistyped_volts_of_a_stop_are_corrected_in_the_tests_as_at_any_reading(at_proof: Visitor) -> None:
    next(f for f in at_proof.at.text_input if (f.key or "").startswith("reread_")).set_value("191 V")
    at_proof.run()
    at_proof.tap("test_record_").tap("safe_correct_0")
    (old,) = at_proof.case.readings
    assert any("Correcting an earlier reading" in e.value and "191" in e.value for e in at_proof.at.info)
    at_proof.tap("safe_corrected")
    assert "Choose an answer first." in at_proof.text
    assert not at_proof.tap("safe_correct_back").has("safe_corrected")
    at_proof.tap("safe_correct_0").at.text_input(key="safe_volts").set_value("230")
    at_proof.run()
    assert any("more than anything on this loop can give" in e.value for e in at_proof.at.error)
    assert at_proof.reload().at.text_input(key="safe_volts").value == "230"
    at_proof.tap("safe_corrected")
    assert any("Stop, hands off" in e.value for e in at_proof.at.error)  # as typed it is a stop all the same
    at_proof.tap("safe_correct_0").at.text_input(key="safe_volts").set_value("19.1 V")
    at_proof.run()
    at_proof.tap("safe_corrected")
    (new,) = at_proof.case.readings
    assert (new.value, new.condition, new.taken_at) == ("19.1 V", "absent", old.taken_at)
    assert [(r.reading.value, r.why) for r in at_proof.case.retracted] == [("191 V", "corrected"), ("230", "corrected")]
    assert not at_proof.at.error
    assert "Right, 19.1 V read" in at_proof.text


def test_volts_that_no_loop_has_are_a_stop_as_the_loop_is_left(store: CaseStore) -> None:
    case = build_restored(store)
    visitor = Visitor(store, case.case_id, view="as_left")
    label = next(f.label for f in visitor.at.text_input if f.label.startswith("Volts: red on zone\u00a01 +"))
    visitor.type(label, "230")
    assert any("more than anything on this loop can give" in e.value for e in visitor.at.error)
    visitor.tap("left_keep")
    assert any("Stop, hands off" in e.value for e in visitor.at.error)
    assert "Put right, and tested" not in visitor.at.radio(key="closing").options
    visitor.tap("left_back_0")
    assert not visitor.at.error


def test_range_of_an_assumed_panel_is_no_fact_and_whoever_knows_the_panel_decides(at_proof: Visitor) -> None:
    assert "(panel assumed, its instructions count)" in at_proof.text
    at_proof.reread("12.4 V")
    assert "Not as expected, 12.4 V read. With a panel as it is assumed here" in at_proof.text
    at_proof.tap("test_panel_other")
    assert "Right, 12.4 V read" in at_proof.text
    assert "done: 12.4 V" in render_record(at_proof.case)
