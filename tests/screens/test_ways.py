"""The ways around the suggested step: why it cannot be done, undo, another measurement; all kept and reversible."""

import pytest

from diagnostics.cases import CaseStore, read_case
from diagnostics.locate import find_shipped
from diagnostics.readings import list_measurements
from diagnostics.visit import TOOLS, answer_guide, assess_case, find_skipped, start_visit
from tests.screens.conftest import SAFETY, Visitor
from tests.screens.test_guide import open_visit
from tests.screens.test_work import FOUND, METER, at_volts, measure


def find_next(visitor: Visitor) -> str:
    action = assess_case(visitor.case).diagnosis.next
    assert action is not None
    assert action.measurement is not None
    return action.measurement.key


@pytest.fixture
def at_detector(store: CaseStore) -> Visitor:
    """Return somebody whose next step is at detector 4, up a ladder; a wire into detector 5 is open."""
    demo = read_case(find_shipped("cases") / "bakery_call.yaml")
    visitor = Visitor(store, start_visit(store, demo, "conductor_open@det5.in+").case_id)
    for key in (*SAFETY, "lead"):
        visitor.tap(key)
    while "|det" not in find_next(visitor):
        assert len(visitor.case.readings) < 6
        visitor.tap("use ").tap("record")
    return visitor


def test_missing_meter_is_said_in_two_taps_and_no_step_needs_one_any_more(at_work: Visitor) -> None:
    at_volts(at_work).tap("cannot")
    assert "What stands in the way?" in at_work.text
    assert not at_work.has("record")
    at_work.tap("lack meter")
    assert set(at_work.case.can or ()) == set(TOOLS) - {"meter"}
    action = assess_case(at_work.case).diagnosis.next
    assert action is None or action.measurement is None or "meter" not in action.measurement.tools
    assert (at_work.case.symptom, at_work.case.contexts) == ("constant_trouble", ("new",))


def test_tool_that_turns_up_is_taken_in_again(at_work: Visitor) -> None:
    at_volts(at_work).tap("cannot").tap("lack meter")
    again = at_work.reload()
    assert "Without a meter" in again.text
    again.tap("have meter")
    assert set(again.case.can or ()) == set(TOOLS)
    assert "Without a meter" not in again.text


def test_place_that_nobody_gets_to_is_left_out_whole_and_taken_in_again_whole(at_detector: Visitor) -> None:
    before = find_next(at_detector)
    loop = assess_case(at_detector.case).loop
    place = next(m.place for m in list_measurements(loop) if m.key == before)
    at_detector.tap("cannot").tap("no_access")
    skipped = find_skipped(at_detector.case)
    assert skipped == {m.key for m in list_measurements(loop) if m.place == place and "ladder" in m.tools}
    assert f"lamp|{place}|standby" not in skipped  # seen from the floor
    assert find_next(at_detector) not in skipped
    assert at_detector.case.suggestions[-1].outcome == "skipped"
    at_detector.tap(f"again {place}")
    assert find_skipped(at_detector.case) == frozenset()
    assert find_next(at_detector) == before


def test_question_why_survives_a_reload_and_leads_back(at_detector: Visitor) -> None:
    again = at_detector.tap("cannot").reload()
    assert "What stands in the way?" in again.text
    again.tap("back_to_next")
    assert again.has("record")
    assert find_skipped(again.case) == frozenset()


def test_step_that_needs_nothing_is_left_out_by_one_tap(at_work: Visitor) -> None:
    at_work.tap("cannot")
    assert find_skipped(at_work.case) == {"panel_shows|panel|standby"}
    assert "What stands in the way?" not in at_work.text
    assert [(s.what, s.outcome) for s in at_work.case.suggestions] == [("panel_shows|panel|standby", "skipped")]


def test_last_reading_is_undone_by_one_tap_beside_the_step(at_work: Visitor) -> None:
    assert not at_work.has("undo")
    at_volts(at_work).tap("undo")
    assert at_work.case.readings == ()
    assert [r.reading.value for r in at_work.case.retracted] == ["trouble"]
    assert find_next(at_work) == "panel_shows|panel|standby"


def test_every_way_stands_once_beside_the_step_and_beside_a_question_of_the_guide(
    store: CaseStore, at_work: Visitor
) -> None:
    at_question = Visitor(store, open_visit(store, "boathouse", "only_first_report").case_id)
    assert at_question.has("guide_answer")
    for visitor, keys in ((at_question, {"something_else", "to_repair"}), (at_work, {"cannot", "to_repair"})):
        for key in keys:
            assert sum(str(b.key) == key for b in visitor.at.button) == 1


def test_half_made_choice_of_another_measurement_survives_a_reload(at_work: Visitor) -> None:
    at_work.tap("something_else")
    at_work.at.selectbox(key="other_where").set_value("det3")
    at_work.run()
    wanted = "volts|det3.in+,det3.in-|standby"
    at_work.at.radio(key="other_what").set_value(wanted)
    at_work.run()
    again = at_work.reload()
    assert again.at.selectbox(key="other_where").value == "det3"
    assert again.at.radio(key="other_what").value == wanted
    again.tap("other_show").type(METER, "23.1").tap("record")
    assert "other_wh" not in str(dict(again.at.query_params))
    assert [r.red for r in again.case.readings] == ["det3.in+"]


def test_answer_to_the_guide_that_slipped_is_given_anew(store: CaseStore) -> None:
    case = answer_guide(store, open_visit(store, "boathouse", "will_not_reset"), "real", "it is clear")
    visitor = Visitor(store, case.case_id)
    assert "Answers to the guide (1)" in [e.label for e in visitor.at.expander]
    visitor.tap("anew_real_0")
    assert visitor.case.guide_answers[-1].answer != "it is clear"
    assert "Everybody out into fresh air" in visitor.text
    assert not visitor.has("record")


def test_ladder_is_cautioned_at_each_form_off_the_floor(at_detector: Visitor) -> None:
    def is_cautioned() -> bool:
        return "⚠ **Ladder." in at_detector.text and "Type once you are down again." in at_detector.text

    assert is_cautioned()
    at_detector.tap("use ").tap("record")
    while "Read at the same place" in at_detector.text:
        assert "Type once you are down again." in at_detector.text
        assert is_cautioned() or "Watch the lamp of" in at_detector.text  # that is seen from the floor
        at_detector.tap("use ").tap("record")
    measure(at_detector, "det7", "volts|det7.in+")
    assert is_cautioned()
    at_detector.type(METER, "0.01").tap("record")
    if at_detector.has("doubt_keep"):
        at_detector.tap("doubt_keep")
    at_detector.tap(f"correct {at_detector.case.readings[-1].reading_id}")
    assert is_cautioned()
    at_detector.tap("back_to_next")
    measure(at_detector, "det7", "lamp|det7")
    assert not is_cautioned()  # a lamp is seen from the floor
    assert FOUND in [g.label for g in at_detector.at.button_group]
