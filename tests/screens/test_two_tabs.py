"""One case in two tabs: what the second has typed is stored or stays in sight, and it is told what came in between."""

from dataclasses import replace

import pytest

from diagnostics.cases import Acknowledgement, CaseStore, Leaving, Reading
from diagnostics.visit import correct_reading, record_reading
from tests.sampling import sample
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.real_work import build_restored, describe, write_note
from tests.screens.test_work import METER, at_verdict, at_volts

MOVED = "Somebody else has worked on this case meanwhile"
KEPT = "Typed, and not stored"


def open_other(visitor: Visitor) -> Visitor:
    """Return a second tab at the same address."""
    return visitor.reload()


def find_field(visitor: Visitor, label: str) -> str:
    return str(next(f for f in visitor.at.text_input if f.label == label).value)


def test_value_typed_after_the_step_was_answered_elsewhere_stays_with_its_question(at_work: Visitor) -> None:
    other = open_other(at_volts(at_work))
    at_work.type(METER, "23.3").tap("record")
    other.type(METER, "23.2")
    assert MOVED in other.text
    assert "23.3" in other.text
    assert find_field(other, METER) == "23.2"
    assert "red on zone 1 +" in other.text
    other.tap("record")
    assert [r.value for r in other.case.readings] == ["trouble", "23.3", "23.2"]


def test_what_somebody_else_read_has_its_unit_however_it_was_typed(at_work: Visitor) -> None:
    at_volts(at_work)
    case, terminals = at_work.case, ("panel.zone1+", "panel.zone1-")
    bare = Reading("ohms", "4k7", *terminals, mode="lifted")
    case = at_work.store.append_reading(case.case_id, bare, case.revision)
    case = record_reading(at_work.store, case, Reading("volts", "0,1", *terminals, mode="standby"))
    correct_reading(at_work.store, case, bare.reading_id, Reading("ohms", "OL", *terminals, mode="lifted"))
    at_work.run()
    assert MOVED in at_work.text
    for told in (": 4.700 kΩ", ": 0.1 V", "Corrected: ", ": OL"):
        assert told in at_work.text.partition(MOVED)[2].partition("What you typed is kept")[0]


def test_own_deeds_are_nobody_elses(at_work: Visitor) -> None:
    at_volts(at_work).type(METER, "23.3").tap("record")
    assert MOVED not in at_work.text
    at_work.tap("finish").tap("closing_back").tap("undo")
    assert MOVED not in at_work.text


def test_value_typed_while_the_case_is_closed_elsewhere_is_shown_on_the_closed_case(at_work: Visitor) -> None:
    other = open_other(at_volts(at_work))
    other.type(METER, "23.2")
    at_work.store.append_closing(at_work.case_id, "not_ours", at_work.case.revision)
    other.tap("record")
    assert "This case is closed" in other.text
    for told in (
        MOVED,
        "Left as: Not ours to mend",
        "Not stored: Record 23.2 V",
        KEPT,
        "Volts: red on zone 1 +",
        "**23.2**",
    ):
        assert told in other.text
    assert KEPT in other.reload().text
    other.tap("unsaved_drop")
    assert KEPT not in other.text
    assert "This case is closed" in other.text


def test_closing_meanwhile_closed_otherwise_keeps_note_and_names_in_sight(store: CaseStore) -> None:
    visitor = Visitor(store, build_restored(store).case_id)
    other = open_other(visitor)
    other.at.radio(key="closing").set_value("left_impaired")
    write_note(other, "detector 3 is off\nand stays off").type("Who has been told?", "Kim").type("Your name", "Lee")
    visitor.close()
    other.tap("close_case")
    assert other.case.closing == "mended"
    for told in (MOVED, "Left as: Put right", "Not stored: Close the case", "detector 3 is off", "Kim", "Lee"):
        assert told in other.text


def test_description_begun_while_another_is_stored_stays_in_sight(visitor: Visitor) -> None:
    visitor.tap("new_case")
    for key in (*SAFETY, "for_us_yes"):
        visitor.tap(key)
    other = open_other(visitor)
    other.type("How many detectors are on it?", "7")
    visitor.type("How many detectors are on it?", "5").tap("describe_use")
    other.type("Cable", "18 AWG")
    assert MOVED in other.text
    assert len(other.case.site.loops[0].all_detectors) == 5
    for told in ("The loop was described anew.", KEPT, "**7**", "**18 AWG**"):
        assert told in other.text


def test_own_repair_told_on_a_case_that_has_moved_on_stays_in_its_field(at_work: Visitor) -> None:
    other = open_other(at_work).tap("to_repair")
    other.type("What did you put right?", "wire at detector 3").tap("work_done")
    at_volts(at_work)
    other.tap("cured")
    assert at_work.case.repairs == ()
    assert "Not stored: I have put something right: Cured" in other.text
    assert find_field(other, "What did you put right?") == "wire at detector 3"
    assert other.tap("cured").case.repairs[0].fault == "wire at detector 3"


def test_cured_at_a_verdict_that_has_moved_on_is_told_by_name(at_work: Visitor) -> None:
    at_verdict(at_work).tap("work_done")
    other = open_other(at_work)
    at_work.tap("still_faulty")
    other.tap("cured")
    assert [r.cured for r in at_work.case.repairs] == [False]
    assert "Not stored: Fit the right end resistor" in other.text
    assert ": Cured" in other.text


def test_people_told_in_a_case_that_was_closed_meanwhile_is_told(store: CaseStore) -> None:
    visitor = Visitor(store).tap("new_case").tap("real_yes").tap("outputs_none")
    case = visitor.case
    store.append_closing(case.case_id, "not_ours", case.revision, Leaving(case.acknowledged[0].at, "Kim", "Lee"))
    visitor.tap("tell_people")
    assert MOVED in visitor.text
    assert "Not stored: On test" in visitor.text


@pytest.mark.parametrize("view", sample(["", "closing", "complaint", "describe", "repair", "other", "cannot"], 3))
def test_every_side_of_the_work_says_that_the_case_has_moved_on(at_work: Visitor, view: str) -> None:
    other = Visitor(at_work.store, at_work.case_id, **({"view": view} if view else {}))
    case = at_work.case
    at_work.store.append_acknowledgement(
        case.case_id, Acknowledgement("anything", case.acknowledged[0].at), case.revision
    )
    other.run()
    assert MOVED in other.text
    other.run()
    assert MOVED not in other.text


def test_question_of_the_guide_says_that_the_case_has_moved_on(store: CaseStore) -> None:
    case = describe(store)
    case = store.append_outline(case.case_id, replace(case.outline, symptom="supply_trouble"), case.revision)
    visitor = Visitor(store, case.case_id)
    store.append_acknowledgement(case.case_id, Acknowledgement("anything", case.acknowledged[0].at), case.revision)
    visitor.tap("guide_answer")
    assert MOVED in visitor.text
    assert visitor.case.guide_answers == ()


def test_reason_typed_for_a_test_stays_in_sight_when_the_repair_is_denied(store: CaseStore) -> None:
    case = build_restored(store)
    visitor = Visitor(store, case.case_id, view="proof")
    visitor.tap("test_change_0").tap("test_not_0").type("Why is it not done?", "no tester")
    other = open_other(visitor)
    other.tap("proof_not")
    visitor.tap("test_keep_0")
    for told in (MOVED, KEPT, "no tester"):
        assert told in visitor.text
